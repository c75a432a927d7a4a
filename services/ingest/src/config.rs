use serde::{Deserialize, Serialize};

/// What the ingest role takes. Every limit is told to gateways in their Welcome.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct IngestConfig {
    /// Most rows in a batch. Default 10,000, at least 1.
    pub max_rows_per_batch: u32,
    /// Most units in a batch. Default 2,000, at least 1.
    pub max_units_per_batch: u32,
    /// Most events in a batch. Default 1,000.
    pub max_events_per_batch: u32,
    /// Largest message, bytes. Default 4 MiB, at least 1 KiB.
    pub max_message_bytes: u32,
    /// A row older than this against the clock is late: history, not news. Default 24 h.
    pub late_after_hours: u32,
    /// A row newer than this against wall time is refused. Default 5 min.
    pub future_refused_after_seconds: u32,
    /// Rows before this time are refused as a broken clock, Unix milliseconds. Default 2000-01-01T00:00:00Z.
    pub oldest_accepted_ms: i64,
    /// Batches of one stream that may wait for the disk at once. Default 64, at least 1.
    pub window: u32,
    /// How far a batch may be ahead of a missing one. Default 4,096, at least 1.
    pub max_gap: u32,
    /// How often the journal is cut down to what is still needed, seconds. Default 60, at least 1.
    pub trim_every_seconds: u32,
}

impl Default for IngestConfig {
    fn default() -> Self {
        Self {
            max_rows_per_batch: 10_000,
            max_units_per_batch: 2_000,
            max_events_per_batch: 1_000,
            max_message_bytes: 4 << 20,
            late_after_hours: 24,
            future_refused_after_seconds: 300,
            oldest_accepted_ms: 946_684_800_000,
            window: 64,
            max_gap: 4_096,
            trim_every_seconds: 60,
        }
    }
}

impl IngestConfig {
    /// Names the first field that cannot work.
    pub fn check(&self) -> Result<(), String> {
        let at_least = |field: &str, value: u32, least: u32| {
            if value >= least {
                Ok(())
            } else {
                Err(format!("ingest.{field} is {value}; at least {least} is needed"))
            }
        };
        at_least("max_rows_per_batch", self.max_rows_per_batch, 1)?;
        at_least("max_units_per_batch", self.max_units_per_batch, 1)?;
        at_least("max_message_bytes", self.max_message_bytes, 1_024)?;
        at_least("window", self.window, 1)?;
        at_least("max_gap", self.max_gap, 1)?;
        at_least("trim_every_seconds", self.trim_every_seconds, 1)
    }
}
