//! The archive role: journal in, Parquet out.
//!
//! Rows are gathered in memory and written when there are enough of them or when the oldest has waited long enough.
//! The archive keeps its own journal position together with the files, so a crash at any moment only means that the
//! journal is read again from there.

use std::sync::Arc;
use std::time::{Duration, Instant};

use prost::Message;
use rimeline_archive::{Archive, ArchiveError, Day, RowMeta};
use rimeline_journal::{Journal, JournalError, Position};
use rimeline_wire::record::{Body, Record};
use rimeline_wire::{batch, pb};
use serde::{Deserialize, Serialize};
use tokio::runtime::Handle;
use tokio_util::sync::CancellationToken;

/// Journal bytes read at a time.
const READ_BYTES: usize = 1 << 20;
/// How long to wait before a write that failed is tried again.
const RETRY: Duration = Duration::from_secs(5);

/// How the archive role works.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct ArchivistConfig {
    /// The longest that a row waits in memory before it is in a file, seconds. Default 300, at least 1. It is on disk
    /// in the journal meanwhile, and readers of a unit's history see it.
    pub flush_seconds: u32,
}

impl Default for ArchivistConfig {
    fn default() -> Self {
        Self { flush_seconds: 300 }
    }
}

impl ArchivistConfig {
    /// Names the first field that cannot work.
    pub fn check(&self) -> Result<(), String> {
        if self.flush_seconds == 0 {
            return Err("archivist.flush_seconds is 0; at least 1 is needed".to_owned());
        }
        Ok(())
    }
}

/// What the archive role works with.
#[derive(Clone)]
pub struct Parts {
    /// Where readings come from.
    pub journal: Arc<dyn Journal>,
    /// Where files go.
    pub archive: Arc<Archive>,
    /// Ends the role after a last flush.
    pub shutdown: CancellationToken,
}

/// Why the archive role cannot go on.
#[derive(Debug, thiserror::Error)]
pub enum ArchivistError {
    /// The journal failed.
    #[error(transparent)]
    Journal(#[from] JournalError),
    /// The archive failed.
    #[error(transparent)]
    Archive(#[from] ArchiveError),
    /// A record of the journal cannot be read.
    #[error("the journal holds a record that cannot be read at {position}: {source}; run `rimeline repair`")]
    BadRecord {
        /// Where.
        position: u64,
        /// What is wrong.
        source: prost::DecodeError,
    },
}

/// Archives the journal until shutdown, then flushes. Blocks: run it where blocking is allowed, inside a runtime.
pub fn run(config: &ArchivistConfig, parts: &Parts) -> Result<(), ArchivistError> {
    let runtime = Handle::current();
    let patience = Duration::from_secs(u64::from(config.flush_seconds));
    let mut at = Position::new(parts.archive.position()).max(parts.journal.start());
    let mut oldest: Option<Instant> = None;
    let mut newest_received = i64::MIN;
    let mut compacted = Day(i32::MIN);
    loop {
        let entries = parts.journal.read(at, READ_BYTES)?;
        if let Some(last) = entries.last() {
            let next = last.next;
            for entry in entries {
                let received = add(&parts.archive, entry.position.get(), entry.record)?;
                newest_received = newest_received.max(received);
            }
            at = next;
            if parts.archive.buffered() > 0 {
                oldest.get_or_insert_with(Instant::now);
            }
        } else if parts.shutdown.is_cancelled() {
            flush(&parts.archive, at)?;
            return Ok(());
        } else {
            let due = oldest.map_or(patience, |since| patience.saturating_sub(since.elapsed()));
            runtime.block_on(wait(parts, at, due));
        }
        if parts.archive.is_full() || oldest.is_some_and(|since| since.elapsed() >= patience) {
            oldest = match flush(&parts.archive, at) {
                Ok(()) => {
                    // Once a day: what came late meanwhile goes into the same rewriting.
                    let today = Day::of(newest_received);
                    if today > compacted {
                        compact(&parts.archive, today);
                        compacted = today;
                    }
                    None
                }
                // The rows are still in memory and in the journal.
                Err(error) if !parts.archive.is_full() => {
                    tracing::error!(%error, "rows could not be archived; it is tried again");
                    runtime.block_on(parts.shutdown.run_until_cancelled(tokio::time::sleep(RETRY)));
                    oldest
                }
                Err(error) => return Err(error.into()),
            };
        }
    }
}

fn add(archive: &Archive, position: u64, record: prost::bytes::Bytes) -> Result<i64, ArchivistError> {
    let bad = |source| ArchivistError::BadRecord { position, source };
    let record = Record::from_bytes(record).map_err(bad)?;
    let Some(Body::Readings(readings)) = record.body else {
        return Ok(record.received_ms);
    };
    let message = pb::Batch::decode(readings.batch).map_err(bad)?;
    let meta = RowMeta { received_ms: record.received_ms, late_before_ms: readings.late_before_ms, position };
    let added = archive.add(&batch::read_stored(&message), meta)?;
    if added.refused > 0 {
        tracing::warn!(position, rows = added.refused, "rows outside the years 1 to 9999 were left out");
    }
    Ok(record.received_ms)
}

fn flush(archive: &Archive, at: Position) -> Result<(), ArchiveError> {
    let flushed = archive.flush(at.get())?;
    if flushed.files > 0 {
        tracing::info!(files = flushed.files, rows = flushed.rows, bytes = flushed.bytes, "archived");
    }
    for partition in archive.merge_due() {
        // The rows are archived either way: a file that cannot be merged must not hold the others up.
        match archive.merge(partition) {
            Ok(merged) => tracing::info!(%partition, ?merged, "merged small files"),
            Err(error) => tracing::error!(%partition, %error, "small files could not be merged"),
        }
    }
    Ok(())
}

/// Brings days that are over into as few files as can be.
fn compact(archive: &Archive, today: Day) {
    for partition in archive.compact_due(today) {
        match archive.compact(partition) {
            Ok(merged) => tracing::info!(%partition, ?merged, "brought a day together"),
            Err(error) => tracing::error!(%partition, %error, "a day could not be brought together"),
        }
    }
}

async fn wait(parts: &Parts, at: Position, due: Duration) {
    tokio::select! {
        // A journal that failed ends the service by itself.
        Ok(_) = parts.journal.wait_beyond(at) => {}
        () = tokio::time::sleep(due) => {}
        () = parts.shutdown.cancelled() => {}
    }
}
