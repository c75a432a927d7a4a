//! Against the real ingest role and its journal.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod common;

use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use common::wire::Wire;
use common::{Ear, PATIENCE, batch, clock, config, connect, heavy_batch, spool};
use prost::Message;
use rimeline_gateway::{Gateway, GatewayError, Notice, RefusalReason, send_once};
use rimeline_ingest::{IngestConfig, IngestGrpc, Parts, Receiver};
use rimeline_journal::{Journal, LocalJournal, Options, Position};
use rimeline_wire::pb;
use rimeline_wire::record::{Body, Record};
use tokio::net::TcpListener;
use tokio_stream::wrappers::TcpListenerStream;
use tokio_util::sync::CancellationToken;

struct Server {
    address: SocketAddr,
    journal: Arc<LocalJournal>,
    shutdown: CancellationToken,
    serving: tokio::task::JoinHandle<()>,
}

impl Server {
    async fn start(dir: &std::path::Path, at: SocketAddr) -> Self {
        let journal = Arc::new(LocalJournal::open(dir, Options::default()).unwrap());
        let shutdown = CancellationToken::new();
        let parts = Parts {
            journal: Arc::clone(&journal) as Arc<dyn Journal>,
            clock: clock(),
            shutdown: shutdown.clone(),
        };
        let receiver = Arc::new(Receiver::open(IngestConfig::default(), parts).unwrap());
        let listener = TcpListener::bind(at).await.unwrap();
        let address = listener.local_addr().unwrap();
        let ended = shutdown.clone().cancelled_owned();
        let serving = tokio::spawn(async move {
            let server = tonic::transport::Server::builder().add_service(IngestGrpc::service(receiver));
            server.serve_with_incoming_shutdown(TcpListenerStream::new(listener), ended).await.unwrap();
        });
        Self { address, journal, shutdown, serving }
    }

    async fn stop(self) {
        self.shutdown.cancel();
        self.serving.await.unwrap();
        self.journal.close().await.unwrap();
    }

    /// (sequence, what the reading says) of every batch in the journal, in order.
    fn stored(&self) -> Vec<(u64, i32)> {
        let (mut stored, mut at) = (Vec::new(), Position::START);
        loop {
            let entries = self.journal.read(at, 1 << 20).unwrap();
            let Some(last) = entries.last() else {
                return stored;
            };
            at = last.next;
            for entry in entries {
                if let Some(Body::Readings(readings)) = Record::from_bytes(entry.record).unwrap().body {
                    let batch = pb::Batch::decode(readings.batch).unwrap();
                    stored.push((readings.sequence, batch.deltas.first().copied().unwrap_or_default()));
                }
            }
        }
    }
}

fn anywhere() -> SocketAddr {
    "127.0.0.1:0".parse().unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn cuts_and_a_restarted_server_leave_every_batch_in_the_journal_once_in_order() {
    let (journal, dir) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let server = Server::start(journal.path(), anywhere()).await;
    let address = server.address;
    let wire = Wire::to(address).await;
    let mut config = config(&wire.endpoint());
    config.spool = Some(spool(&dir, 4 << 20));
    let gateway = connect(config).await;
    for number in 1..=150 {
        gateway.send(&batch(number)).await.unwrap();
        if number % 40 == 0 {
            wire.cut();
        }
    }
    server.stop().await;
    for number in 151..=300 {
        gateway.send(&batch(number)).await.unwrap();
    }
    let server = Server::start(journal.path(), address).await;
    let totals = tokio::time::timeout(PATIENCE, gateway.finish()).await.unwrap().unwrap();
    assert_eq!((totals.sent, totals.acknowledged, totals.dropped), (300, 300, 0));
    let expected: Vec<_> = (1..=300_u64).map(|n| (n, n as i32)).collect();
    assert_eq!(server.stored(), expected);
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_gap_of_a_spool_that_overflowed_is_taken_by_the_server() {
    let (journal, dir) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let server = Server::start(journal.path(), anywhere()).await;
    let mut config = config("http://127.0.0.1:9");
    config.spool = Some(spool(&dir, 64 << 10));
    let offline = connect(config.clone()).await;
    for number in 1..=300 {
        offline.send(&heavy_batch(number, 250)).await.unwrap();
    }
    let dropped = offline.close().await.unwrap().dropped;
    assert!(dropped > 0);
    config.endpoint = format!("http://{}", server.address);
    let totals = connect(config).await.finish().await.unwrap();
    assert_eq!(totals.acknowledged, 300 - dropped);
    let expected: Vec<_> = (dropped + 1..=300).map(|n| (n, n as i32)).collect();
    assert_eq!(server.stored(), expected);
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_the_real_server_refuses_is_told_and_an_old_epoch_ends_the_gateway() {
    let journal = tempfile::tempdir().unwrap();
    let server = Server::start(journal.path(), anywhere()).await;
    let config = config(&format!("http://{}", server.address));
    let ear = Ear::default();
    let gateway = Gateway::connect_with(config.clone(), clock(), ear.observer()).await.unwrap();
    gateway.reached(Duration::from_secs(5)).await.unwrap();
    let mut wrong = batch(1);
    wrong.times[0] = 5;
    gateway.send(&wrong).await.unwrap();
    gateway.send(&batch(2)).await.unwrap();
    let totals = gateway.finish().await.unwrap();
    assert_eq!((totals.rows, totals.late, totals.refusals[&RefusalReason::TimeTooOld]), (1, 1, 1));
    let told =
        |notice: &Notice| matches!(notice, Notice::Receipt(r) if r.sequence == 1 && r.refusals.len() == 1);
    assert!(ear.heard().iter().any(told));

    let once = send_once(&config, &*clock(), 8, 1, &batch(3)).await.unwrap();
    assert_eq!((once.sequence, once.acknowledged_through, once.duplicate), (1, 1, false));
    let old = connect(config).await;
    old.send(&batch(4)).await.unwrap();
    let error = old.finish().await.unwrap_err();
    assert!(matches!(error, GatewayError::Refused { .. }), "{error}");
    assert!(error.to_string().contains("older than 8"), "{error}");
    server.stop().await;
}
