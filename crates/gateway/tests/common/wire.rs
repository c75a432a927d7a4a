//! A wire between gateway and server that can be cut at any byte.

use std::net::SocketAddr;
use std::sync::{Arc, Mutex};

use tokio::net::{TcpListener, TcpStream};
use tokio::task::{AbortHandle, JoinSet};

/// Passes bytes on until it is cut; new connections pass again.
#[derive(Clone)]
pub struct Wire {
    pub address: SocketAddr,
    live: Arc<Mutex<Vec<AbortHandle>>>,
}

impl Wire {
    pub async fn to(server: SocketAddr) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let wire = Self { address: listener.local_addr().unwrap(), live: Arc::default() };
        let live = Arc::clone(&wire.live);
        tokio::spawn(async move {
            let mut connections = JoinSet::new();
            while let Ok((mut near, _)) = listener.accept().await {
                let passing = connections.spawn(async move {
                    if let Ok(mut far) = TcpStream::connect(server).await {
                        let _ = tokio::io::copy_bidirectional(&mut near, &mut far).await;
                    }
                });
                live.lock().unwrap().push(passing);
            }
        });
        wire
    }

    pub fn endpoint(&self) -> String {
        format!("http://{}", self.address)
    }

    /// Cuts every connection there is.
    pub fn cut(&self) {
        for connection in self.live.lock().unwrap().drain(..) {
            connection.abort();
        }
    }
}
