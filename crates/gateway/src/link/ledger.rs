//! Who has which sequences.

use crate::GatewayError;
use crate::link::Shared;

/// The bookkeeping of one gateway over all its sessions.
pub(crate) struct Ledger {
    /// Every sequence up to here is on the server's disk, or was given up.
    settled: u64,
    /// The highest sequence that can have reached the server.
    highest: u64,
    welcomed: bool,
}

impl Ledger {
    /// `settled`: known to be acknowledged, or gone, when the spool was opened. `last`: the last one in it then.
    pub(crate) fn new(settled: u64, last: u64) -> Self {
        Self { settled, highest: last, welcomed: false }
    }

    /// Takes a Welcome to a Hello that stated `oldest`, and returns the sequence before the first to send.
    ///
    /// A server holds what is older than `oldest` for settled, so that its answer is never less than that.
    pub(crate) fn welcome(&mut self, shared: &Shared, held: u64, oldest: u64) -> Result<u64, GatewayError> {
        let given_up = oldest - 1;
        let repeated = shared.config.repeatable && !self.welcomed;
        if !repeated {
            self.check(shared, held, given_up)?;
        }
        // A server that is beyond the gap has all but surely what was in it: batches are sent in order.
        let lost = if held > given_up { 0 } else { given_up.saturating_sub(self.settled) };
        let settled = self.settled.max(given_up).max(held);
        if held < self.settled && self.welcomed {
            let acknowledged = self.settled;
            tracing::warn!(held, acknowledged, "the server holds less than it acknowledged before");
        }
        // What a first Welcome tells of was sent by an earlier process.
        let acknowledged = if self.welcomed { settled - self.settled - lost } else { 0 };
        self.highest = if self.welcomed { self.highest.max(settled) } else { settled };
        self.settled = settled;
        self.welcomed = true;
        shared.progress.send_modify(|progress| {
            progress.settled = settled;
            progress.held_before = progress.held_before.max(if repeated { held } else { 0 });
            progress.totals.dropped += lost;
            progress.totals.acknowledged += acknowledged;
            progress.totals.connections += 1;
        });
        Ok(held.max(given_up))
    }

    /// Takes the cumulative acknowledgement of a receipt; true where it brought something new.
    pub(crate) fn acknowledge(&mut self, shared: &Shared, held: u64) -> Result<bool, GatewayError> {
        self.check(shared, held, 0)?;
        let more = held.saturating_sub(self.settled);
        self.settled += more;
        shared.progress.send_modify(|progress| {
            progress.settled = self.settled;
            progress.totals.acknowledged += more;
        });
        Ok(more > 0)
    }

    /// Takes note of a batch put on the wire; true the first time.
    pub(crate) fn sent(&mut self, sequence: u64) -> bool {
        let first = sequence > self.highest;
        self.highest = self.highest.max(sequence);
        first
    }

    pub(crate) fn settled(&self) -> u64 {
        self.settled
    }

    fn check(&self, shared: &Shared, held: u64, given_up: u64) -> Result<(), GatewayError> {
        if held <= self.highest.max(self.settled).max(given_up) {
            return Ok(());
        }
        Err(GatewayError::EpochReused {
            gateway: shared.config.gateway.to_string(),
            epoch: shared.epoch,
            held,
            known: self.highest,
        })
    }
}
