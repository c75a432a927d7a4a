use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use rimeline_channels::{Batch, Id, Reading, UnixMs};

use crate::manifest::{self, Snapshot};
use crate::partition::Day;
use crate::rows::{EventRow, Rows};
use crate::{ArchiveError, Claim, Options, Store, opening};

/// An archive that this process writes to.
///
/// Batches are added in journal order and buffered; [`Archive::flush`] turns the buffer into files and moves the
/// position. Adding and asking go on while a flush or a merge is under way.
#[derive(Debug)]
pub struct Archive {
    pub(crate) store: Arc<dyn Store>,
    pub(crate) options: Options,
    shared: Mutex<Shared>,
    writer: Mutex<Writer>,
    opened: Opened,
    _claim: Box<dyn Claim>,
}

/// What readers see; changed in one step when a record is durable.
#[derive(Debug)]
pub(crate) struct Shared {
    pub(crate) snapshot: Arc<Snapshot>,
    /// Rows that came since the last flush began.
    pub(crate) active: Rows,
    /// Rows on their way into files.
    pub(crate) flushing: Option<Arc<Rows>>,
    /// The room of rows that were flushed, for those that come next.
    pub(crate) spare: Rows,
}

/// What only one flush or merge at a time may touch.
#[derive(Debug, Default)]
pub(crate) struct Writer {
    /// Files that no record names: written and not committed yet, or not needed any more.
    pub(crate) strays: Vec<String>,
    /// Why the manifest is in doubt.
    pub(crate) stopped: Option<String>,
    /// Record of the last summary.
    pub(crate) summed: u64,
}

/// What opening found and put right.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Opened {
    /// Data files that no record names, left by a crash, removed.
    pub removed: Vec<String>,
    /// Data files that the manifest names and that are gone or have another length. While there are any, nothing is
    /// removed.
    pub lost: Vec<String>,
}

/// Where a batch comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RowMeta {
    /// When it was received.
    pub received_ms: UnixMs,
    /// Rows measured before this moment are marked late.
    pub late_before_ms: UnixMs,
    /// Its journal position. Positions never fall from one call to the next.
    pub position: u64,
}

/// What became of a batch.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Added {
    /// Readings buffered.
    pub readings: usize,
    /// Of these, marked late.
    pub late: usize,
    /// Events buffered.
    pub events: usize,
    /// Readings and events left out because their time lies outside the years 1 to 9999.
    pub refused: usize,
    /// True where the files hold the batch already, and nothing was done.
    pub archived: bool,
}

/// The files and the rows that are in none of them, as of one moment: no row is in both and none in neither.
#[derive(Clone, Debug)]
pub struct View {
    /// The files.
    pub snapshot: Arc<Snapshot>,
    /// One unit's rows that are in no file yet, by time; of one time only the first that came.
    pub tail: Vec<Reading>,
}

impl Archive {
    /// Opens the archive in a store, or makes one where the store is empty.
    ///
    /// Takes the store's claim until dropped. Data files that a crash left behind are removed.
    pub fn open(store: Arc<dyn Store>, options: Options) -> Result<Self, ArchiveError> {
        options.check()?;
        let claim = store.claim()?;
        let (snapshot, opened) = opening::open(store.as_ref(), options.buckets)?;
        let summed = snapshot.record - snapshot.record % manifest::RECORDS_PER_SUMMARY;
        Ok(Self {
            store,
            options,
            shared: Mutex::new(Shared {
                snapshot: Arc::new(snapshot),
                active: Rows::default(),
                flushing: None,
                spare: Rows::default(),
            }),
            writer: Mutex::new(Writer { summed, ..Writer::default() }),
            opened,
            _claim: claim,
        })
    }

    /// What opening found and put right.
    pub fn opened(&self) -> &Opened {
        &self.opened
    }

    /// The store.
    pub fn store(&self) -> &Arc<dyn Store> {
        &self.store
    }

    /// The manifest as it stands.
    pub fn snapshot(&self) -> Arc<Snapshot> {
        self.shared().snapshot.clone()
    }

    /// Everything before this journal position is in files.
    pub fn position(&self) -> u64 {
        self.shared().snapshot.position()
    }

    /// Readings and events that are in no file yet.
    pub fn buffered(&self) -> usize {
        let shared = self.shared();
        shared.active.total() + shared.flushing.as_ref().map_or(0, |rows| rows.total())
    }

    /// True where it is time to flush.
    pub fn is_full(&self) -> bool {
        self.shared().active.total() >= self.options.flush_rows
    }

    /// Buffers a batch. One that lies before [`Archive::position`] is in files already and is passed over, so that
    /// replaying a journal from any earlier place is harmless.
    pub fn add(&self, batch: &Batch, meta: RowMeta) -> Result<Added, ArchiveError> {
        let position = meta.position;
        batch.check().map_err(|source| ArchiveError::Shape { position, source })?;
        let mut shared = self.shared();
        let shared = &mut *shared;
        if position < shared.snapshot.position() {
            return Ok(Added { archived: true, ..Added::default() });
        }
        let flushing = shared.flushing.as_ref();
        let reached = shared.active.span.or_else(|| flushing.and_then(|rows| rows.span)).map(|s| s.1);
        if let Some(reached) = reached.filter(|r| *r > position) {
            return Err(ArchiveError::Order { given: position, reached });
        }
        let held = shared.active.total() + flushing.map_or(0, |rows| rows.total());
        let coming = batch.rows() + batch.events.len();
        if held > 0 && held + coming > self.options.max_rows {
            return Err(ArchiveError::Full { rows: held });
        }
        Ok(buffer(&mut shared.active, batch, meta))
    }

    /// One unit's readings in `from..until` that are in no file yet, by time; of one time only the first that came.
    pub fn tail(&self, unit: &Id, from: UnixMs, until: UnixMs) -> Vec<Reading> {
        self.view(unit, from, until).tail
    }

    /// The files and one unit's tail in `from..until`, as of one moment.
    pub fn view(&self, unit: &Id, from: UnixMs, until: UnixMs) -> View {
        let mut tail = Vec::new();
        let snapshot = self.visit_tail(Some(unit), from, until, |_, reading| tail.push(reading));
        // Stable: of one time the first that came stays first.
        tail.sort_by_key(|reading| reading.time);
        tail.dedup_by_key(|reading| reading.time);
        View { snapshot, tail }
    }

    /// Shows every reading in `from..until` that is in no file yet, of one unit or of all, as they came, and returns
    /// the files as of the same moment. Adding waits meanwhile.
    pub fn visit_tail(
        &self,
        unit: Option<&Id>,
        from: UnixMs,
        until: UnixMs,
        mut visit: impl FnMut(&Id, Reading),
    ) -> Arc<Snapshot> {
        let shared = self.shared();
        for rows in shared.flushing.as_deref().into_iter().chain([&shared.active]) {
            rows.visit(unit, from, until, &mut visit);
        }
        shared.snapshot.clone()
    }

    pub(crate) fn writer(&self) -> MutexGuard<'_, Writer> {
        self.writer.lock().unwrap_or_else(PoisonError::into_inner)
    }

    pub(crate) fn shared(&self) -> MutexGuard<'_, Shared> {
        self.shared.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Appends a batch, without the rows whose time has no calendar day.
fn buffer(rows: &mut Rows, batch: &Batch, meta: RowMeta) -> Added {
    let named = Day::FIRST_MS..Day::END_MS;
    let before = rows.len();
    let mut start = 0;
    for end in 0..=batch.rows() {
        if batch.times.get(end).is_none_or(|t| !named.contains(t)) {
            if start < end {
                rows.append(batch, start..end, meta.received_ms, meta.late_before_ms);
            }
            start = end + 1;
        }
    }
    let events = rows.events.len();
    for event in batch.events.iter().filter(|e| named.contains(&e.time)) {
        let row = EventRow {
            unit: 0,
            time: event.time,
            received: meta.received_ms,
            late: event.time < meta.late_before_ms,
            kind: event.kind.clone(),
        };
        rows.append_event(&batch.units[event.unit as usize], row);
    }
    let first = rows.span.map_or(meta.position, |s| s.0);
    rows.span = Some((first, meta.position));
    let added = Added {
        readings: rows.len() - before,
        late: rows.late[before..].iter().filter(|late| **late).count(),
        events: rows.events.len() - events,
        refused: batch.rows() + batch.events.len() - (rows.len() - before) - (rows.events.len() - events),
        archived: false,
    };
    if added.refused > 0 {
        tracing::warn!(
            rows = added.refused,
            position = meta.position,
            "rows with a time outside the years 1 to 9999 are left out"
        );
    }
    added
}
