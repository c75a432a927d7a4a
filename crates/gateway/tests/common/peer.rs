//! A server that keeps the contract of ingest, strictly, and misbehaves where it is told to.

use std::net::SocketAddr;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use rimeline_wire::pb;
use rimeline_wire::pb::ingest_service_server::{IngestService, IngestServiceServer};
use rimeline_wire::pb::stream_readings_request::Item as In;
use rimeline_wire::pb::stream_readings_response::Item as Out;
use tokio::net::TcpListener;
use tokio::sync::{mpsc, watch};
use tokio_stream::wrappers::{ReceiverStream, TcpListenerStream};
use tonic::codec::CompressionEncoding;
use tonic::{Code, Request, Response, Status, Streaming};
use tonic_types::{ErrorDetails, StatusExt};

use super::wire::Wire;

/// What happens to the n-th batch that arrives.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fault {
    None,
    /// The stream breaks before the batch is stored.
    BreakBefore,
    /// The batch is stored, and the stream breaks before the gateway hears of it.
    BreakAfter,
    /// The wire is cut, somewhere in what is under way.
    Cut,
    /// No room: come back after this many ms.
    Exhausted(u64),
    /// The batch and all that follow on this stream are taken and forgotten; then the stream breaks.
    Forget,
    /// The answer comes this many ms late.
    Slow(u64),
}

#[derive(Default)]
pub struct Log {
    pub epoch: u64,
    pub through: u64,
    /// Every batch, in the order it was stored.
    pub stored: Vec<(u64, pb::Batch)>,
    pub arrived: usize,
    pub duplicates: usize,
    /// Every Hello, and when it came.
    pub hellos: Vec<(pb::Hello, Instant)>,
    /// Every refusal for want of room: when, and the wait it asked for.
    pub refused: Vec<(Instant, Duration)>,
    /// Breaches of the contract by the gateway.
    pub breaches: Vec<String>,
    /// Batches taken and not answered, now and at most.
    pub under_way: usize,
    pub most_under_way: usize,
}

#[derive(Clone)]
pub struct Peer {
    pub address: SocketAddr,
    pub wire: Wire,
    log: Arc<Mutex<Log>>,
    behaviour: Arc<Behaviour>,
    /// Batches are answered while this is true.
    gate: watch::Sender<bool>,
}

#[derive(Default)]
pub struct Behaviour {
    pub faults: Vec<Fault>,
    /// Every call is answered with this.
    pub refuse: Option<(Code, &'static str)>,
    pub limits: Option<pb::Limits>,
    /// The server's clock minus the machine's, ms.
    pub clock_offset_ms: i64,
    /// What was stored before it began.
    pub through: u64,
    /// Every batch is answered with these.
    pub refusals: Vec<pb::Refusal>,
    pub late_rows: u32,
    /// No Welcome, no receipt, for the first streams.
    pub silent_streams: usize,
    pub max_message_bytes: Option<usize>,
}

impl Peer {
    pub async fn start(behaviour: Behaviour) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let address = listener.local_addr().unwrap();
        let log = Log { through: behaviour.through, epoch: 7, ..Log::default() };
        let peer = Self {
            address,
            wire: Wire::to(address).await,
            log: Arc::new(Mutex::new(log)),
            behaviour: Arc::new(behaviour),
            gate: watch::Sender::new(true),
        };
        let most = peer.behaviour.max_message_bytes.unwrap_or(4 << 20);
        let service = IngestServiceServer::new(peer.clone())
            .max_decoding_message_size(most)
            .accept_compressed(CompressionEncoding::Gzip)
            .accept_compressed(CompressionEncoding::Zstd);
        let server = tonic::transport::Server::builder().add_service(service);
        tokio::spawn(server.serve_with_incoming(TcpListenerStream::new(listener)));
        peer
    }

    pub async fn with(faults: &[Fault]) -> Self {
        let faults = faults.to_vec();
        Self::start(Behaviour { faults, ..Behaviour::default() }).await
    }

    pub fn log(&self) -> std::sync::MutexGuard<'_, Log> {
        self.log.lock().unwrap()
    }

    pub fn answer(&self, answering: bool) {
        self.gate.send_replace(answering);
    }

    /// Goes back to an older state of itself, as from a backup.
    pub fn restore(&self, through: u64) {
        let mut log = self.log();
        log.through = through;
        log.stored.retain(|(sequence, _)| *sequence <= through);
    }

    /// Sequences and what the readings in them say, as stored.
    pub fn stored(&self) -> Vec<(u64, Vec<i32>)> {
        let log = self.log();
        log.stored.iter().map(|(sequence, batch)| (*sequence, batch.deltas.clone())).collect()
    }

    fn greet(&self, hello: &pb::Hello) -> Result<pb::Welcome, Status> {
        let mut log = self.log();
        log.hellos.push((hello.clone(), Instant::now()));
        log.under_way = 0;
        if let Some((code, message)) = self.behaviour.refuse {
            return Err(Status::new(code, message));
        }
        if hello.epoch < log.epoch {
            return Err(Status::failed_precondition("hello.epoch is older than one heard before"));
        }
        if hello.epoch > log.epoch {
            (log.epoch, log.through) = (hello.epoch, 0);
        }
        log.through = log.through.max(hello.oldest_sequence.saturating_sub(1));
        let now = super::clock().now_ms();
        Ok(pb::Welcome {
            acknowledged_through: log.through,
            clock_ms: now + self.behaviour.clock_offset_ms,
            limits: self.behaviour.limits,
        })
    }

    fn store(&self, batch: pb::Batch) -> pb::Receipt {
        let mut log = self.log();
        let sequence = batch.sequence;
        let duplicate = sequence <= log.through;
        let rows = batch.time_delta_ms.len() as u32;
        if duplicate {
            log.duplicates += 1;
        } else {
            if sequence != log.through + 1 {
                let breach = format!("{sequence} came after {}", log.through);
                log.breaches.push(breach);
            }
            log.through = sequence;
            log.stored.push((sequence, batch));
        }
        pb::Receipt {
            sequence,
            acknowledged_through: log.through,
            duplicate,
            accepted_rows: if duplicate { 0 } else { rows },
            late_rows: self.behaviour.late_rows,
            refusals: self.behaviour.refusals.clone(),
            ..pb::Receipt::default()
        }
    }

    async fn serve(
        self,
        mut incoming: Streaming<pb::StreamReadingsRequest>,
        answers: mpsc::Sender<Result<pb::StreamReadingsResponse, Status>>,
    ) {
        let mut forgetting = None;
        let mut gate = self.gate.subscribe();
        let mut held = Vec::new();
        loop {
            let message = tokio::select! {
                message = incoming.message() => message,
                () = opened(&mut gate), if !held.is_empty() => {
                    for batch in held.drain(..) {
                        self.receipt(&answers, batch).await;
                    }
                    continue;
                }
            };
            let Ok(Some(message)) = message else {
                return;
            };
            let Some(In::Batch(batch)) = message.item else {
                self.log().breaches.push("a second Hello".into());
                return;
            };
            let fault = {
                let mut log = self.log();
                log.arrived += 1;
                log.under_way += 1;
                log.most_under_way = log.most_under_way.max(log.under_way);
                self.behaviour.faults.get(log.arrived - 1).copied().unwrap_or(Fault::None)
            };
            if fault == Fault::Forget {
                forgetting.get_or_insert(0);
            }
            if let Some(forgotten) = &mut forgetting {
                *forgotten += 1;
                let more = tokio::time::timeout(Duration::from_millis(10), std::future::pending::<()>());
                let _ = more.await;
                if *forgotten == 2 {
                    return;
                }
                // The only one under way would wait for its answer for long.
                let (peer, answers) = (self.clone(), answers.clone());
                tokio::spawn(async move {
                    tokio::time::sleep(Duration::from_millis(15)).await;
                    let _ = answers.send(Err(Status::unavailable("crashed"))).await;
                    drop(peer);
                });
                continue;
            }
            if !*gate.borrow() {
                // Goes on taking batches while none is answered.
                held.push(batch);
                continue;
            }
            match fault {
                Fault::BreakBefore => return,
                Fault::BreakAfter => {
                    self.store(batch);
                    return;
                }
                Fault::Cut => {
                    self.store(batch);
                    self.wire.cut();
                    return;
                }
                Fault::Exhausted(ms) => {
                    let wait = Duration::from_millis(ms);
                    self.log().refused.push((Instant::now(), wait));
                    let details = ErrorDetails::with_retry_info(Some(wait));
                    let status = Status::with_error_details(Code::ResourceExhausted, "no room", details);
                    let _ = answers.send(Err(status)).await;
                    return;
                }
                Fault::Slow(ms) => tokio::time::sleep(Duration::from_millis(ms)).await,
                Fault::None | Fault::Forget => {}
            }
            self.receipt(&answers, batch).await;
        }
    }

    async fn receipt(
        &self,
        answers: &mpsc::Sender<Result<pb::StreamReadingsResponse, Status>>,
        batch: pb::Batch,
    ) {
        let receipt = self.store(batch);
        {
            let mut log = self.log();
            log.under_way = log.under_way.saturating_sub(1);
        }
        let item = Some(Out::Receipt(receipt));
        let _ = answers.send(Ok(pb::StreamReadingsResponse { item })).await;
    }
}

async fn opened(gate: &mut watch::Receiver<bool>) {
    let _ = gate.wait_for(|open| *open).await;
}

#[tonic::async_trait]
impl IngestService for Peer {
    type StreamReadingsStream = ReceiverStream<Result<pb::StreamReadingsResponse, Status>>;

    async fn stream_readings(
        &self,
        request: Request<Streaming<pb::StreamReadingsRequest>>,
    ) -> Result<Response<Self::StreamReadingsStream>, Status> {
        let mut incoming = request.into_inner();
        let first = incoming.message().await?.and_then(|message| message.item);
        let Some(In::Hello(hello)) = first else {
            return Err(Status::invalid_argument("a stream begins with a Hello"));
        };
        let welcome = self.greet(&hello)?;
        let silent = self.log().hellos.len() <= self.behaviour.silent_streams;
        if silent {
            std::future::pending::<()>().await;
        }
        let (answers, outgoing) = mpsc::channel(1024);
        let item = Some(Out::Welcome(welcome));
        let _ = answers.send(Ok(pb::StreamReadingsResponse { item })).await;
        tokio::spawn(self.clone().serve(incoming, answers));
        Ok(Response::new(ReceiverStream::new(outgoing)))
    }

    async fn send_readings(
        &self,
        request: Request<pb::SendReadingsRequest>,
    ) -> Result<Response<pb::SendReadingsResponse>, Status> {
        let pb::SendReadingsRequest { hello, batch } = request.into_inner();
        self.greet(&hello.unwrap_or_default())?;
        let receipt = self.store(batch.unwrap_or_default());
        Ok(Response::new(pb::SendReadingsResponse { receipt: Some(receipt) }))
    }
}
