//! The one thread that writes.
//!
//! # Life of a file
//!
//! 1. A segment is created under a temporary name, gets its header, is synced, renamed, and its directory synced. Only
//!    then does it get a frame.
//! 2. It grows by groups. A group is one write and one `fdatasync`; then its records are acknowledged and can be read.
//!    What comes in meanwhile is the next group.
//! 3. When the next group would pass the segment's size, a new segment follows. The old one is never written again.
//! 4. When it is trimmed, the checkpoint first says so, synced; then the file is removed.
//!
//! Files grow rather than being laid out beforehand: measured on ext4, a sync costs the same time either way, and what
//! it saves in CPU the laying out costs again.
//!
//! # When something fails
//!
//! * A write fails (disk full, say): the file is cut back to what was good, synced, and the records are refused. Nothing
//!   more is written to it; the next group begins a new segment, as soon as there is room for one.
//! * A sync fails, or that cut: the system may have dropped the data and will not say so again. No sync is tried twice. Everything
//!   that waits, and all that comes, is refused until a restart reads back what the disk really holds.
//!
//! # Crash table
//!
//! | the power goes while | the next start finds | and |
//! |---|---|---|
//! | a journal is created | an empty directory, a `.tmp`, or a first segment and no checkpoint | creates what is missing; nothing was acknowledged |
//! | a segment is created | a `.tmp`, or an empty last segment | removes it, or goes on in it |
//! | a group is written or synced | a last segment whose last group is whole, partly there or not there, in any order of its sectors | keeps the group up to its first broken frame, cuts the rest: none of it was acknowledged |
//! | a failed write is cut back | as above | as above |
//! | the checkpoint is replaced | the old or the new one, and perhaps a `.tmp` | both are right |
//! | trimmed segments are removed | some of those before the checkpoint's start | removes them |
//! | the next start cuts and re-syncs | the same again | does the same again |
//!
//! Whatever start keeps, it first writes and syncs again: only a process may have crashed, and what the operating
//! system still holds in memory would be read as if it were on disk.

use std::path::PathBuf;
use std::sync::Arc;

use crate::disk::DiskFile;
use crate::error::Doing;
use crate::format::{HEADER_BYTES, Header, Stamp};
use crate::layout::segment_path;
use crate::queue::{Pending, Task, cost, weight};
use crate::shared::Shared;
use crate::{JournalError, Options, Position, segment};

/// The segment that is being written.
pub(crate) struct Active {
    pub file: Arc<dyn DiskFile>,
    pub path: PathBuf,
    pub stamp: Stamp,
    /// Everything up to here is on disk.
    pub good: u64,
}

pub(crate) struct Writer {
    shared: Arc<Shared>,
    active: Active,
    /// A write to the active segment failed and was undone: the next group goes to a new one.
    given_up: bool,
    /// The last group was refused.
    failing: bool,
    /// The bytes of a group.
    buffer: Vec<u8>,
    /// Held while the thread lives.
    _lock: Box<dyn Send>,
}

/// Makes sure that nobody waits for a writer that is gone.
struct Mourner(Arc<Shared>);

impl Drop for Mourner {
    fn drop(&mut self) {
        self.0.keeper().closed = true;
        self.0.finish(&JournalError::Stopped { reason: "the writer is gone".into() });
    }
}

impl Writer {
    pub(crate) fn new(shared: Arc<Shared>, active: Active, lock: Box<dyn Send>) -> Self {
        Self { shared, active, given_up: false, failing: false, buffer: Vec::new(), _lock: lock }
    }

    /// Writes groups until the queue is closed.
    pub(crate) fn run(mut self) {
        let mourner = Mourner(Arc::clone(&self.shared));
        let mut group = Vec::new();
        loop {
            match self.shared.queue.take(&mut group) {
                Task::Write => self.write(&mut group),
                Task::Finish => {
                    let outcome = self.record_end();
                    drop(self);
                    mourner.0.finish(&outcome.err().unwrap_or(JournalError::Closed));
                    return;
                }
                Task::Abandon => return,
            }
        }
    }

    /// Commits a group and answers everyone in it.
    fn write(&mut self, group: &mut Vec<Pending>) {
        let outcome = self.commit(group);
        let room = group.iter().map(|pending| cost(&pending.record)).sum();
        match outcome {
            Ok(first) => self.acknowledge(first, group),
            Err(error) => self.refuse(&error, group),
        }
        self.shared.queue.release(room);
        // One huge group must not keep its memory for ever.
        self.buffer.shrink_to(2 * self.shared.options.commit_bytes);
    }

    fn acknowledge(&mut self, first: u64, group: &mut Vec<Pending>) {
        if std::mem::take(&mut self.failing) {
            tracing::info!("records are accepted again");
        }
        let end = self.active.stamp.position(self.active.good);
        self.shared.progress.send_modify(|progress| progress.end = end);
        let mut next = first;
        for Pending { record, done } in group.drain(..) {
            next += weight(&record) as u64;
            // Whoever has gone away wants no answer.
            let _ = done.send(Ok(Position::new(next)));
        }
    }

    fn refuse(&mut self, error: &JournalError, group: &mut Vec<Pending>) {
        if !std::mem::replace(&mut self.failing, true) {
            tracing::error!(records = group.len(), %error, "records are refused until this is over");
        }
        for Pending { done, .. } in group.drain(..) {
            let _ = done.send(Err(error.clone()));
        }
        if matches!(error, JournalError::Stopped { .. }) {
            self.shared.finish(error);
        }
    }

    /// Puts a group on disk and returns the position of its first record.
    fn commit(&mut self, group: &[Pending]) -> Result<u64, JournalError> {
        let bytes: u64 = group.iter().map(|pending| weight(&pending.record) as u64).sum();
        let end = self.active.stamp.position(self.active.good);
        let limit = self.shared.options.journal_bytes;
        if end + bytes - self.shared.start() > limit {
            return Err(JournalError::Full { limit });
        }
        let has_frames = self.active.good > HEADER_BYTES;
        if self.given_up || has_frames && self.active.good + bytes > self.shared.options.segment_bytes {
            self.rotate()?;
        }

        let Active { file, path, stamp, good } = &mut self.active;
        self.buffer.clear();
        for pending in group {
            let offset = *good + self.buffer.len() as u64;
            stamp.put_record(&mut self.buffer, offset, *good, &pending.record);
        }
        if let Err(error) = file.write_at(&self.buffer, *good).appending("write to", path) {
            // Before anyone is told: a refused record must not turn up after a crash.
            let undone = file.truncate(*good).and_then(|()| file.sync_all());
            undone.map_err(|e| JournalError::stopped("undo a failed write to", path, &e))?;
            self.given_up = true;
            return Err(error);
        }
        file.sync_data().map_err(|e| JournalError::stopped("sync", path, &e))?;
        let first = stamp.position(*good);
        *good += bytes;
        Ok(first)
    }

    fn rotate(&mut self) -> Result<(), JournalError> {
        let start = self.active.stamp.position(self.active.good);
        let shared = &*self.shared;
        let Options { node, config_hash, .. } = &shared.options;
        let header = Header { id: shared.id, start, config_hash: *config_hash, node: node.clone() };
        let file = segment::create(&*shared.disk, &shared.dir, &header)?;
        let mut segments = shared.segments_mut();
        segments.active = Arc::clone(&file);
        // A segment that never got a frame is replaced by one of the same name.
        if segments.starts.back() != Some(&start) {
            segments.starts.push_back(start);
        }
        drop(segments);
        let path = segment_path(&shared.dir, start);
        self.active = Active { file, path, stamp: Stamp::new(shared.id, start), good: HEADER_BYTES };
        self.given_up = false;
        Ok(())
    }

    /// Writes down how far the journal has come, so that the next start misses anything that goes missing.
    fn record_end(&self) -> Result<(), JournalError> {
        let mut keeper = self.shared.keeper();
        keeper.closed = true;
        keeper.checkpoint.durable = self.shared.end();
        keeper.checkpoint.write(&*self.shared.disk, &self.shared.dir)
    }
}
