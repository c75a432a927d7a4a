use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;

use rimeline_wire::pb;

pub use rimeline_wire::pb::{Receipt, Refusal, RefusalReason, RefusedItem};

use crate::GatewayError;

/// What became of the batches since this gateway was opened.
///
/// Rows, refusals and duplicates are known from receipts; a receipt that is lost with its connection is not sent again.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Totals {
    /// Batches put on the wire, each counted once however often it was sent.
    pub sent: u64,
    /// Batches the server holds on disk.
    pub acknowledged: u64,
    /// Batches the server already held: sent again, or passed over ([`crate::Config::repeatable`]).
    pub duplicate: u64,
    /// Batches dropped from a full spool and not acknowledged. The last few may have arrived all the same.
    pub dropped: u64,
    /// Readings accepted.
    pub rows: u64,
    /// Events accepted.
    pub events: u64,
    /// Readings accepted and marked late.
    pub late: u64,
    /// Things that were refused, by reason.
    pub refusals: BTreeMap<RefusalReason, u64>,
    /// Times the server was reached.
    pub connections: u64,
}

impl Totals {
    pub(crate) fn add(&mut self, receipt: &Receipt) {
        self.duplicate += u64::from(receipt.duplicate);
        self.rows += u64::from(receipt.accepted_rows);
        self.events += u64::from(receipt.accepted_events);
        self.late += u64::from(receipt.late_rows);
        for refusal in &receipt.refusals {
            *self.refusals.entry(refusal.reason()).or_default() += u64::from(refusal.count.max(1));
        }
    }
}

/// How far this gateway's clock is from the server's.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ClockOffset {
    /// Server minus gateway, ms: positive where this clock is slow.
    pub offset_ms: i64,
    /// The true offset is within this, ms.
    pub uncertainty_ms: i64,
}

/// Something the owner of a gateway may want to know at once.
#[derive(Clone, Debug)]
#[non_exhaustive]
pub enum Notice {
    /// The server was reached.
    Connected {
        /// Every sequence up to here is on its disk.
        acknowledged_through: u64,
        /// The clocks compared; `None` where this gateway's clock follows recorded data.
        clock: Option<ClockOffset>,
    },
    /// The server is gone; the gateway will try again.
    Disconnected {
        /// Why.
        reason: GatewayError,
        /// After this long.
        retry_in: Duration,
    },
    /// The answer to a batch, refusals included.
    Receipt(Receipt),
    /// The spool was full: batches the server does not have are gone.
    Dropped {
        /// The first sequence.
        first: u64,
        /// The last sequence.
        last: u64,
    },
}

/// Called for each [`Notice`]. Keep it short: the gateway waits for it.
pub type Observer = Arc<dyn Fn(Notice) + Send + Sync>;

/// Where the sender stands, for those who wait for it.
#[derive(Clone, Debug)]
pub(crate) struct Progress {
    pub totals: Totals,
    /// Every sequence up to here is on the server's disk, or was given up.
    pub settled: u64,
    /// The server held everything up to here before this gateway began; 0 unless its batches are repeatable.
    pub held_before: u64,
    pub limits: Option<pb::Limits>,
    pub clock: Option<ClockOffset>,
    pub connected: bool,
    /// Why the server was not reached, last time.
    pub trouble: Option<GatewayError>,
    /// Why there will be no more progress.
    pub ended: Option<GatewayError>,
    pub finished: bool,
}

impl Progress {
    /// `settled`: what was known to be acknowledged, or was gone, when the spool was opened.
    pub(crate) fn new(settled: u64) -> Self {
        Self {
            totals: Totals::default(),
            settled,
            held_before: 0,
            limits: None,
            clock: None,
            connected: false,
            trouble: None,
            ended: None,
            finished: false,
        }
    }
}
