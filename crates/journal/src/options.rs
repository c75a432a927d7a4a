use std::time::Duration;

use crate::JournalError;
use crate::format::{FRAME_BYTES, HEADER_BYTES, NODE_BYTES};
use crate::queue::BESIDE_RECORD;

/// Settings of a [`crate::LocalJournal`], checked before a file is touched.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Options {
    /// Whose journal this is. A directory of another node is refused. At most 64 bytes; default empty.
    pub node: String,
    /// A hash over what gives the records their meaning, such as the record format. A directory with another hash is
    /// refused. Leave tuning out of it. Default 0.
    pub config_hash: u64,
    /// A segment file is closed at this size. Default 64 MiB; at least 4 KiB and room for a record and for a group; at
    /// most 1 GiB.
    pub segment_bytes: u64,
    /// The largest record. Default 4 MiB; 1 byte to 256 MiB.
    pub max_record_bytes: usize,
    /// One write and one sync take about this much. Default 1 MiB; at least 1 byte.
    pub commit_bytes: usize,
    /// Under load (when the last group had more than one record) a group waits this long for company. A lone record
    /// never waits. Default 0: whatever came during the last sync is the next group. At most 1 s.
    pub commit_interval: Duration,
    /// Records that wait for the disk may hold this much memory, 256 bytes a record for bookkeeping included; more
    /// appends wait for room. Default 32 MiB; at least one largest record; at most 4 GiB.
    pub queue_bytes: usize,
    /// The whole journal may hold this much; more appends fail until it is trimmed. Default 64 GiB; at least two
    /// segments.
    pub journal_bytes: u64,
}

impl Default for Options {
    fn default() -> Self {
        Self {
            node: String::new(),
            config_hash: 0,
            segment_bytes: 64 << 20,
            max_record_bytes: 4 << 20,
            commit_bytes: 1 << 20,
            commit_interval: Duration::ZERO,
            queue_bytes: 32 << 20,
            journal_bytes: 64 << 30,
        }
    }
}

impl Options {
    /// Says which setting cannot work, if any.
    pub fn check(&self) -> Result<(), JournalError> {
        let bad = |field, problem: String| Err(JournalError::BadOption { field, problem });
        let frame = self.max_record_bytes.saturating_add(FRAME_BYTES) as u64;
        if self.node.len() > NODE_BYTES {
            return bad("node", format!("{} bytes are over {NODE_BYTES}", self.node.len()));
        }
        if !(1..=256 << 20).contains(&self.max_record_bytes) {
            return bad("max_record_bytes", format!("{} is not in 1 byte to 256 MiB", self.max_record_bytes));
        }
        if !(4 << 10..=1 << 30).contains(&self.segment_bytes) {
            return bad("segment_bytes", format!("{} is not in 4 KiB to 1 GiB", self.segment_bytes));
        }
        if self.segment_bytes - HEADER_BYTES < frame {
            return bad(
                "segment_bytes",
                format!("{} leaves no room for the largest record", self.segment_bytes),
            );
        }
        if self.commit_bytes == 0 || self.segment_bytes - HEADER_BYTES < self.commit_bytes as u64 {
            return bad("commit_bytes", format!("{} is not in 1 byte to one segment", self.commit_bytes));
        }
        if self.commit_interval > Duration::from_secs(1) {
            return bad("commit_interval", format!("{:?} is over 1 s", self.commit_interval));
        }
        let queued = self.max_record_bytes + BESIDE_RECORD;
        if self.queue_bytes < queued || self.queue_bytes > u32::MAX as usize {
            return bad("queue_bytes", format!("{} is not in one largest record to 4 GiB", self.queue_bytes));
        }
        if self.journal_bytes < 2 * self.segment_bytes {
            return bad("journal_bytes", format!("{} is less than two segments", self.journal_bytes));
        }
        Ok(())
    }
}
