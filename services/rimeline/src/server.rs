use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use anyhow::{Context, Result, anyhow, bail};
use rimeline_archive::{Archive, LocalStore};
use rimeline_casebook::{Casebook, SqliteCasebook};
use rimeline_clock::{Clock, DataClock, WallClock};
use rimeline_desk::{FeedGrpc, RegistryGrpc};
use rimeline_ingest::{IngestGrpc, Receiver, keep_journal_short};
use rimeline_journal::{Journal, LocalJournal, Position};
use rimeline_planner::{UnitGrpc, WeeklyGrpc};
use rimeline_wire::pb;
use tokio::net::TcpListener;
use tokio::sync::watch;
use tokio::task::JoinSet;
use tokio_stream::wrappers::TcpListenerStream;
use tokio_util::sync::CancellationToken;
use tonic::transport::Server as Tonic;

use crate::config::{ClockWord, Config};

/// How long connections may take to end by themselves.
const HANG_UP: Duration = Duration::from_secs(10);
/// How often a waiting caller looks whether the roles have caught up.
const LOOK_EVERY: Duration = Duration::from_millis(20);

/// All roles in one process.
pub(crate) struct Server {
    pub(crate) address: SocketAddr,
    /// Cancelled: nothing more is taken in. Any role that fails cancels it.
    pub(crate) stop: CancellationToken,
    /// Cancelled once nothing more comes in: readers of the journal finish what is there.
    drain: CancellationToken,
    edges: JoinSet<Result<()>>,
    readers: JoinSet<Result<()>>,
    journal: Arc<LocalJournal>,
    archive: Arc<Archive>,
    casebook: Arc<dyn Casebook>,
}

impl Server {
    /// Opens what is on disk, starts every role, and listens.
    pub(crate) async fn start(config: &Config) -> Result<Self> {
        let (stop, drain) = (CancellationToken::new(), CancellationToken::new());
        std::fs::create_dir_all(&config.data)
            .with_context(|| format!("the data folder {} cannot be made", config.data.display()))?;
        let options = rimeline_journal::Options {
            // A message, and what is written beside it.
            max_record_bytes: 2 * config.ingest.max_message_bytes as usize,
            ..rimeline_journal::Options::default()
        };
        let journal = Arc::new(LocalJournal::open(config.data.join("journal"), options)?);
        let store = Arc::new(LocalStore::new(config.data.join("archive"))?);
        let options = rimeline_archive::Options {
            buckets: config.archive.buckets,
            flush_rows: config.archive.flush_rows,
            ..rimeline_archive::Options::default()
        };
        let archive = Arc::new(Archive::open(store, options)?);
        for lost in &archive.opened().lost {
            tracing::error!(file = lost, "the manifest names a file that is gone or has another length");
        }
        let clock: Arc<dyn Clock> = match config.clock {
            ClockWord::Wall => Arc::new(WallClock::default()),
            ClockWord::Data => Arc::new(DataClock::default()),
        };
        let made = rimeline_casebook::Options::new(WallClock::default().now_ms().unsigned_abs());
        let casebook: Arc<dyn Casebook> =
            Arc::new(SqliteCasebook::open(&config.data.join("casebook.sqlite"), made)?);
        let (changed, _) = watch::channel(());

        let parts =
            rimeline_ingest::Parts { journal: journal.clone(), clock: clock.clone(), shutdown: stop.clone() };
        let ingest = config.ingest.clone();
        let receiver = tokio::task::spawn_blocking(move || Receiver::open(ingest, parts)).await??;
        let receiver = Arc::new(receiver);

        let mut readers = JoinSet::new();
        let parts = rimeline_archivist::Parts {
            journal: journal.clone(),
            archive: archive.clone(),
            shutdown: drain.clone(),
        };
        let archivist = config.archivist.clone();
        spawn_reader(&mut readers, &stop, "archive", move || {
            Ok(rimeline_archivist::run(&archivist, &parts)?)
        });
        let parts = rimeline_assess::Parts {
            journal: journal.clone(),
            casebook: casebook.clone(),
            clock: clock.clone(),
            changed: changed.clone(),
            shutdown: drain.clone(),
        };
        let assess = config.assess.clone();
        spawn_reader(&mut readers, &stop, "assess", move || Ok(rimeline_assess::run(assess, &parts)?));

        let mut edges = JoinSet::new();
        let (positions, book) = (archive.clone(), casebook.clone());
        let consumed = move || {
            // A position that cannot be read holds the journal where it is.
            let assessed = book.position(rimeline_assess::ROLE).unwrap_or(0);
            Position::new(positions.position().min(assessed))
        };
        let trimming = keep_journal_short(receiver.clone(), consumed);
        edges.spawn(async move {
            trimming.await;
            Ok(())
        });

        let desk = rimeline_desk::Parts {
            casebook: casebook.clone(),
            journal: journal.clone(),
            clock: clock.clone(),
            changed,
            shutdown: stop.clone(),
        };
        let planner = rimeline_planner::Parts { casebook: casebook.clone(), archive: archive.clone(), clock };
        let listener = TcpListener::bind(config.listen)
            .await
            .with_context(|| format!("{} cannot be listened on", config.listen))?;
        let address = listener.local_addr()?;
        let serving = serve_grpc(config, listener, receiver, desk, planner, stop.clone()).await?;
        edges.spawn(serving);
        Ok(Self { address, stop, drain, edges, readers, journal, archive, casebook })
    }

    /// Waits until everything that has been acknowledged is assessed, and the archive holds it in files or in memory.
    pub(crate) async fn caught_up(&self) -> Result<()> {
        let end = self.journal.end().get();
        while self.casebook.position(rimeline_assess::ROLE)? < end {
            if self.stop.is_cancelled() {
                bail!("the service stopped while it was catching up");
            }
            tokio::time::sleep(LOOK_EVERY).await;
        }
        Ok(())
    }

    /// Rows and bytes in Parquet files.
    pub(crate) fn archived(&self) -> (u64, u64) {
        let snapshot = self.archive.snapshot();
        snapshot.files().fold((0, 0), |(rows, bytes), file| (rows + file.rows, bytes + file.bytes))
    }

    /// Ends when told to or when a role fails: takes nothing more in, lets readers finish, closes the journal.
    pub(crate) async fn run_until(mut self, told: impl Future<Output = ()>) -> Result<()> {
        tokio::select! {
            () = told => {}
            () = self.stop.cancelled() => {}
        }
        self.stop.cancel();
        let mut failed = join(&mut self.edges, Some(HANG_UP)).await.err();
        self.drain.cancel();
        if let Err(error) = join(&mut self.readers, None).await {
            failed.get_or_insert(error);
        }
        self.journal.close().await?;
        failed.map_or(Ok(()), Err)
    }
}

fn spawn_reader(
    readers: &mut JoinSet<Result<()>>,
    stop: &CancellationToken,
    role: &'static str,
    run: impl FnOnce() -> Result<()> + Send + 'static,
) {
    // Also when the role panics: acknowledging what nobody reads any more would look like service.
    let stop = stop.clone().drop_guard();
    readers.spawn_blocking(move || {
        let ended = run().with_context(|| format!("the {role} role ended"));
        if let Err(error) = &ended {
            tracing::error!(error = format!("{error:#}"), "a role failed; the service stops");
        }
        drop(stop);
        ended
    });
}

async fn join(tasks: &mut JoinSet<Result<()>>, limit: Option<Duration>) -> Result<()> {
    let all = async {
        let mut first = Ok(());
        while let Some(ended) = tasks.join_next().await {
            let ended = ended.unwrap_or_else(|error| Err(anyhow!("a task ended badly: {error}")));
            if first.is_ok() {
                first = ended;
            }
        }
        first
    };
    let Some(limit) = limit else { return all.await };
    let ended = tokio::time::timeout(limit, all).await;
    ended.unwrap_or_else(|_| {
        tracing::warn!("some connections did not end in time and were cut");
        tasks.abort_all();
        Ok(())
    })
}

async fn serve_grpc(
    config: &Config,
    listener: TcpListener,
    receiver: Arc<Receiver>,
    desk: rimeline_desk::Parts,
    planner: rimeline_planner::Parts,
    stop: CancellationToken,
) -> Result<impl Future<Output = Result<()>> + use<>> {
    let (health, health_service) = tonic_health::server::health_reporter();
    let ingest = IngestGrpc::service(receiver);
    let feed = FeedGrpc::service(&config.desk, desk.clone());
    let registry = RegistryGrpc::service(&config.desk, desk);
    let weekly = WeeklyGrpc::service(planner.clone());
    let unit = UnitGrpc::service(planner);
    let names = pb_services();
    for name in &names {
        health.set_service_status(*name, tonic_health::ServingStatus::Serving).await;
    }
    let reflection = || {
        tonic_reflection::server::Builder::configure()
            .register_encoded_file_descriptor_set(pb::DESCRIPTORS)
            .register_encoded_file_descriptor_set(tonic_health::pb::FILE_DESCRIPTOR_SET)
    };
    let server = Tonic::builder()
        .tcp_nodelay(true)
        .http2_keepalive_interval(Some(Duration::from_secs(30)))
        .add_service(health_service)
        .add_service(reflection().build_v1()?)
        // Many tools still ask the older version.
        .add_service(reflection().build_v1alpha()?)
        .add_service(ingest)
        .add_service(feed)
        .add_service(registry)
        .add_service(weekly)
        .add_service(unit);
    Ok(async move {
        let stopped = stop.clone();
        let down = async move {
            stopped.cancelled().await;
            for name in names {
                health.set_service_status(name, tonic_health::ServingStatus::NotServing).await;
            }
        };
        let ended = server.serve_with_incoming_shutdown(TcpListenerStream::new(listener), down).await;
        stop.cancel();
        ended.context("the gRPC server ended")
    })
}

fn pb_services() -> [&'static str; 6] {
    use pb::{
        feed_service_server, ingest_service_server, registry_service_server, unit_service_server,
        weekly_service_server,
    };
    [
        "",
        feed_service_server::SERVICE_NAME,
        ingest_service_server::SERVICE_NAME,
        registry_service_server::SERVICE_NAME,
        unit_service_server::SERVICE_NAME,
        weekly_service_server::SERVICE_NAME,
    ]
}
