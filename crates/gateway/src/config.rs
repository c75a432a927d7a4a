use std::path::PathBuf;
use std::time::Duration;

use rimeline_channels::Id;

use crate::GatewayError;

/// How a gateway reaches its server and what it keeps. [`Config::new`] gives the defaults.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Config {
    /// The server, e.g. `http://127.0.0.1:7420`.
    pub endpoint: String,
    /// This gateway's name. One name, one gateway.
    pub gateway: Id,
    /// The epoch to begin where there is no spool, or an empty one. `None`: the clock's Unix milliseconds. A spool that
    /// holds anything keeps the epoch it was begun with.
    pub epoch: Option<u64>,
    /// The source is fixed, a file say: another run with the same gateway and epoch gives the same batches under the same
    /// sequences. What the server already holds is then passed over and counted in [`crate::Totals::duplicate`]. Default
    /// no: a server that holds what was never sent from here ends the gateway with
    /// [`GatewayError::EpochReused`]. Needs an `epoch`, and no spool.
    pub repeatable: bool,
    /// Where unacknowledged batches are kept on disk. `None`: in memory, lost with the process.
    pub spool: Option<SpoolConfig>,
    /// Without a spool: unacknowledged batches may hold this many bytes; more must wait. Default 32 MiB, at least 1 KiB.
    pub memory_bytes: u32,
    /// When a batch is full.
    pub batch: BatchLimits,
    /// Batches that may be under way without an answer. Default 16, at least 1.
    pub window: usize,
    /// Compression of what is sent. Default none.
    pub compression: Compression,
    /// Waits between attempts to reach the server.
    pub backoff: Backoff,
    /// A server that leaves a batch or a Hello unanswered for this long is taken for gone. Default 60 s, above 0.
    pub answer_within: Duration,
}

/// The spool: a directory of this gateway's own.
///
/// A batch is in it, synced, before [`crate::Gateway::send`] returns, and leaves it some time after the server has
/// acknowledged it. When the spool is full the **oldest** batches are dropped to make room, whole files at a time
/// (about an eighth of the spool): what is happening now matters more. Every drop is logged, counted in
/// [`crate::Totals::dropped`] and told as [`crate::Notice::Dropped`], and the server is told where the gap ends.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SpoolConfig {
    /// Created where it is missing.
    pub dir: PathBuf,
    /// Most bytes held, at least 64 KiB. One batch may take an eighth of it.
    pub max_bytes: u64,
}

/// When a batch is full. The server's own limits, told at each connection, apply as well.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct BatchLimits {
    /// Readings. Default 1,000, at least 1.
    pub rows: usize,
    /// Different units. Default 1,000, at least 1.
    pub units: usize,
    /// Encoded bytes. Default 3 MiB, at least 1 KiB.
    pub bytes: usize,
    /// A batch is sent this long after its first reading, full or not. Default 10 s.
    pub age: Duration,
}

/// Compression of what is sent.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Compression {
    /// None.
    #[default]
    None,
    /// Gzip.
    Gzip,
    /// Zstandard.
    Zstd,
}

/// Waits between attempts: they double from `first` to `most`, and each is stretched by up to as much again, at random.
/// They begin anew once a batch was acknowledged. Where the server says how long to wait, that is waited instead.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Backoff {
    /// Default 500 ms, at least 1 ms.
    pub first: Duration,
    /// Default 30 s, at least `first`.
    pub most: Duration,
}

impl Default for BatchLimits {
    fn default() -> Self {
        Self { rows: 1_000, units: 1_000, bytes: 3 << 20, age: Duration::from_secs(10) }
    }
}

impl Default for Backoff {
    fn default() -> Self {
        Self { first: Duration::from_millis(500), most: Duration::from_secs(30) }
    }
}

impl Config {
    /// Defaults for a gateway and a server: no spool, no compression.
    pub fn new(endpoint: impl Into<String>, gateway: Id) -> Self {
        Self {
            endpoint: endpoint.into(),
            gateway,
            epoch: None,
            repeatable: false,
            spool: None,
            memory_bytes: 32 << 20,
            batch: BatchLimits::default(),
            window: 16,
            compression: Compression::None,
            backoff: Backoff::default(),
            answer_within: Duration::from_secs(60),
        }
    }

    /// Names the first field that cannot work.
    pub fn check(&self) -> Result<(), GatewayError> {
        let need = |good: bool, field: &'static str, problem: &'static str| {
            if good { Ok(()) } else { Err(GatewayError::config(field, problem)) }
        };
        need(self.epoch != Some(0), "epoch", "must be at least 1")?;
        let named = self.epoch.is_some() && self.spool.is_none();
        need(!self.repeatable || named, "repeatable", "needs an epoch, and no spool")?;
        need(self.memory_bytes >= 1 << 10, "memory_bytes", "must be at least 1 KiB")?;
        need(self.batch.rows >= 1, "batch.rows", "must be at least 1")?;
        need(self.batch.units >= 1, "batch.units", "must be at least 1")?;
        need(self.batch.bytes >= 1 << 10, "batch.bytes", "must be at least 1 KiB")?;
        need(self.window >= 1, "window", "must be at least 1")?;
        let shortest = Duration::from_millis(1);
        need(self.backoff.first >= shortest, "backoff.first", "must be at least 1 ms")?;
        need(self.backoff.most >= self.backoff.first, "backoff.most", "must be at least backoff.first")?;
        need(!self.answer_within.is_zero(), "answer_within", "must be above 0")?;
        let spool = self.spool.as_ref().map_or(u64::MAX, |spool| spool.max_bytes);
        need(spool >= 64 << 10, "spool.max_bytes", "must be at least 64 KiB")
    }
}
