use std::collections::VecDeque;

use rimeline_journal::{Entry, Journal, JournalError, Position};

use super::Kept;
use super::disk::{Disk, read};
use crate::GatewayError;

const CHUNK_BYTES: usize = 1 << 20;

/// Reads the spool forward, and remembers where what is under way begins.
pub(crate) struct DiskReader {
    disk: Disk,
    /// Batches handed out and not released: sequence, where it begins, its bytes.
    under_way: VecDeque<(u64, Position, u64)>,
    /// Where the batch after those begins.
    next: Position,
    /// No sequence from here on was handed out yet.
    next_sequence: u64,
    /// Bytes released since the last trim.
    released: u64,
}

impl DiskReader {
    pub(super) fn new(disk: Disk) -> Self {
        let next = disk.journal.start();
        Self { disk, under_way: VecDeque::new(), next, next_sequence: 0, released: 0 }
    }

    pub(super) async fn fetch(&mut self, from: u64) -> Result<Vec<Kept>, GatewayError> {
        self.rewind(from);
        loop {
            if self.next == self.disk.journal.end() {
                return Ok(Vec::new());
            }
            let entries = self.read_on().await?;
            let mut batches = Vec::with_capacity(entries.len());
            for entry in entries {
                let (position, bytes) = (entry.position, entry.record.len() as u64);
                self.next = entry.next;
                let kept = read(entry)?.kept;
                self.next_sequence = kept.sequence + 1;
                if kept.sequence >= from {
                    self.under_way.push_back((kept.sequence, position, bytes));
                    batches.push(kept);
                } else {
                    self.released += bytes;
                }
            }
            if !batches.is_empty() {
                return Ok(batches);
            }
        }
    }

    pub(super) async fn release(&mut self, through: u64) -> Result<(), GatewayError> {
        self.disk.settle(through);
        let done = self.under_way.partition_point(|(sequence, _, _)| *sequence <= through);
        self.released += self.under_way.drain(..done).map(|(_, _, bytes)| bytes).sum::<u64>();
        if self.released < self.disk.segment_bytes {
            return Ok(());
        }
        self.released = 0;
        let to = self.under_way.front().map_or(self.next, |(_, position, _)| *position);
        let disk = self.disk.clone();
        let trimming = tokio::task::spawn_blocking(move || {
            disk.trim(to)?;
            disk.note_oldest()
        });
        trimming.await.unwrap_or(Err(GatewayError::Closed))
    }

    /// Goes back to a sequence that was handed out before.
    fn rewind(&mut self, from: u64) {
        if from >= self.next_sequence {
            return;
        }
        let at = self.under_way.partition_point(|(sequence, _, _)| *sequence < from);
        // A batch that was released and is asked for again (a server that has less than it said) may still be there.
        let start = self.disk.journal.start();
        let known = self.under_way.get(at).filter(|(sequence, _, _)| *sequence == from);
        self.next = known.map_or(start, |(_, position, _)| *position);
        self.under_way.truncate(if known.is_some() { at } else { 0 });
        self.next_sequence = from;
    }

    async fn read_on(&mut self) -> Result<Vec<Entry>, GatewayError> {
        loop {
            let (disk, from) = (self.disk.clone(), self.next);
            let reading = tokio::task::spawn_blocking(move || disk.journal.read(from, CHUNK_BYTES));
            match reading.await.unwrap_or(Err(JournalError::Closed)) {
                // The oldest were dropped meanwhile.
                Err(JournalError::Trimmed { start, .. }) => self.next = start,
                other => return Ok(other?),
            }
        }
    }
}
