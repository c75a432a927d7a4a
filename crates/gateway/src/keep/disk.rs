//! The spool: a journal whose records are batches.
//!
//! A record is the epoch, the sequence and what was acknowledged when it was written, 8 bytes each, little end first,
//! then the batch as it goes on the wire. The last record is never trimmed away, so that a restart finds the epoch and
//! the sequence to go on with.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use bytes::{Buf, BufMut, Bytes};
use rimeline_channels::Id;
use rimeline_journal::{Entry, Journal, JournalError, LocalJournal, Options, Position};
use tokio::sync::Mutex;

use super::{Gone, Kept};
use crate::split::Body;
use crate::{GatewayError, SpoolConfig};

const HEAD_BYTES: usize = 24;
/// The most a record's frame and a file's header take from a segment.
const FILE_BYTES: u64 = 1 << 10;
/// Of the form of a record, so that a later form is not misread.
const RECORD_FORM: u64 = 1;
const CHUNK_BYTES: usize = 256 << 10;

#[derive(Clone)]
pub(crate) struct Disk {
    pub(super) journal: Arc<LocalJournal>,
    pub(super) segment_bytes: u64,
    inner: Arc<Inner>,
}

struct Inner {
    epoch: u64,
    /// Who appends holds this, so that sequences are on disk in order.
    writing: Mutex<()>,
    last: AtomicU64,
    oldest: AtomicU64,
    /// Known to be acknowledged.
    settled: AtomicU64,
    /// Where the last record begins.
    last_record: AtomicU64,
}

impl Disk {
    /// Opens the spool, or begins one with this epoch. Blocks for the disk.
    pub(crate) fn open(config: &SpoolConfig, gateway: &Id, epoch: u64) -> Result<Self, GatewayError> {
        let segment_bytes = (config.max_bytes / 8).clamp(8 << 10, 8 << 20);
        let most = segment_bytes - FILE_BYTES;
        let options = Options {
            node: gateway.as_str().to_owned(),
            config_hash: RECORD_FORM,
            segment_bytes,
            max_record_bytes: most as usize,
            commit_bytes: most as usize,
            queue_bytes: 2 * segment_bytes as usize,
            journal_bytes: config.max_bytes,
            ..Options::default()
        };
        let journal = LocalJournal::open(&config.dir, options)?;
        let found = Found::scan(&journal)?;
        let inner = Inner {
            epoch: found.epoch.unwrap_or(epoch),
            writing: Mutex::new(()),
            last: AtomicU64::new(found.last),
            settled: AtomicU64::new(found.settled),
            oldest: AtomicU64::new(found.first.unwrap_or(1)),
            last_record: AtomicU64::new(found.last_record.get()),
        };
        Ok(Self { journal: Arc::new(journal), segment_bytes, inner: Arc::new(inner) })
    }

    pub(crate) fn epoch(&self) -> u64 {
        self.inner.epoch
    }

    /// The largest batch that fits.
    pub(crate) fn batch_bytes(&self) -> usize {
        (self.segment_bytes - FILE_BYTES) as usize - HEAD_BYTES
    }

    pub(super) fn oldest(&self) -> u64 {
        self.inner.oldest.load(Ordering::Acquire)
    }

    pub(super) fn settled(&self) -> u64 {
        self.inner.settled.load(Ordering::Acquire).max(self.oldest() - 1)
    }

    pub(super) fn settle(&self, through: u64) {
        self.inner.settled.fetch_max(through, Ordering::AcqRel);
    }

    pub(super) fn last(&self) -> u64 {
        self.inner.last.load(Ordering::Acquire)
    }

    pub(super) async fn append(&self, body: Body) -> Result<(u64, Option<Gone>), GatewayError> {
        // In a task of its own: a caller that goes away half-way must not leave a sequence used twice.
        let spool = self.clone();
        let kept = tokio::spawn(async move { spool.append_in_turn(body).await });
        kept.await.unwrap_or(Err(GatewayError::Closed))
    }

    async fn append_in_turn(&self, body: Body) -> Result<(u64, Option<Gone>), GatewayError> {
        let _turn = self.inner.writing.lock().await;
        let sequence = self.last() + 1;
        let record = self.record(sequence, &body);
        let mut gone: Option<Gone> = None;
        loop {
            let begin = self.journal.end();
            match self.journal.append(record.clone()).await {
                Ok(_) => {
                    self.inner.last_record.store(begin.get(), Ordering::Release);
                    self.inner.last.store(sequence, Ordering::Release);
                    return Ok((sequence, gone));
                }
                Err(JournalError::Full { .. }) => {
                    let more = self.drop_oldest().await?;
                    gone = Some(Gone { first: gone.map_or(more.first, |gone| gone.first), last: more.last });
                }
                Err(error) => return Err(error.into()),
            }
        }
    }

    fn record(&self, sequence: u64, body: &Body) -> Bytes {
        let mut record = Vec::with_capacity(HEAD_BYTES + body.len());
        record.put_u64_le(self.inner.epoch);
        record.put_u64_le(sequence);
        record.put_u64_le(self.inner.settled.load(Ordering::Acquire));
        body.put(sequence, &mut record);
        record.into()
    }

    /// Gives up the oldest file.
    async fn drop_oldest(&self) -> Result<Gone, GatewayError> {
        let first = self.oldest();
        let spool = self.clone();
        let dropping = tokio::task::spawn_blocking(move || spool.trim_a_file());
        dropping.await.unwrap_or(Err(GatewayError::Closed))?;
        let last = self.oldest() - 1;
        Ok(Gone { first, last })
    }

    fn trim_a_file(&self) -> Result<(), GatewayError> {
        let begin = self.journal.start();
        let mut at = begin;
        while self.journal.start() == begin {
            match self.journal.read(at, CHUNK_BYTES) {
                Ok(entries) => {
                    let limit = self.segment_bytes;
                    let end = entries.last().map(|entry| entry.next);
                    at = end.ok_or(JournalError::Full { limit })?;
                    self.trim(at)?;
                }
                // Acknowledged batches went at this moment: there is room.
                Err(JournalError::Trimmed { .. }) => {}
                Err(error) => return Err(error.into()),
            }
        }
        self.note_oldest()
    }

    /// Forgets whole files before a place, but never the last record. Blocks for the disk.
    pub(super) fn trim(&self, to: Position) -> Result<(), JournalError> {
        let last_record = Position::new(self.inner.last_record.load(Ordering::Acquire));
        self.journal.trim(to.min(last_record))
    }

    /// Finds out what the oldest sequence is after a trim.
    pub(super) fn note_oldest(&self) -> Result<(), GatewayError> {
        let first = loop {
            match self.journal.read(self.journal.start(), 1) {
                Err(JournalError::Trimmed { .. }) => {}
                other => break other?,
            }
        };
        if let Some(entry) = first.into_iter().next() {
            let kept = read(entry)?.kept;
            self.inner.oldest.fetch_max(kept.sequence, Ordering::AcqRel);
        }
        Ok(())
    }

    pub(super) async fn close(&self) -> Result<(), JournalError> {
        self.journal.close().await
    }
}

/// What a spool holds when it is opened.
#[derive(Default)]
struct Found {
    epoch: Option<u64>,
    first: Option<u64>,
    last: u64,
    settled: u64,
    last_record: Position,
}

impl Found {
    fn scan(journal: &LocalJournal) -> Result<Self, GatewayError> {
        let mut found = Self { last_record: journal.start(), ..Self::default() };
        let mut at = journal.start();
        loop {
            let entries = journal.read(at, CHUNK_BYTES)?;
            let Some(end) = entries.last() else {
                return Ok(found);
            };
            at = end.next;
            for entry in entries {
                found.last_record = entry.position;
                let Head { epoch, settled, kept } = read(entry)?;
                found.epoch = Some(epoch);
                found.settled = settled;
                found.first.get_or_insert(kept.sequence);
                found.last = kept.sequence;
            }
        }
    }
}

/// A record read back.
pub(super) struct Head {
    epoch: u64,
    settled: u64,
    pub kept: Kept,
}

/// Takes a record apart.
pub(super) fn read(entry: Entry) -> Result<Head, GatewayError> {
    let mut record = entry.record;
    if record.len() < HEAD_BYTES {
        return Err(GatewayError::ForeignSpool);
    }
    let epoch = record.get_u64_le();
    let sequence = record.get_u64_le();
    let settled = record.get_u64_le();
    let kept = Kept { sequence, batch: record };
    Ok(Head { epoch, settled, kept })
}
