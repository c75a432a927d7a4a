use std::ops::Range;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};

use rimeline_archive::{Archive, Claim, Listed, LocalStore, Options, RowMeta, Snapshot, Store, StoreError};
use rimeline_channels::{Batch, Channel, Id, Reading, State, UnixMs, Value};

/// 2026-01-31T00:00:00Z.
pub(crate) const DAY: UnixMs = 1_769_817_600_000;

pub(crate) fn id(text: &str) -> Id {
    Id::new(text).unwrap()
}

pub(crate) fn options() -> Options {
    Options { buckets: 4, ..Options::default() }
}

pub(crate) fn open(root: &Path) -> Archive {
    open_with(root, options())
}

pub(crate) fn open_with(root: &Path, options: Options) -> Archive {
    Archive::open(Arc::new(LocalStore::new(root).unwrap()), options).unwrap()
}

/// One reading with a number in `ReturnAirControl`.
pub(crate) fn reading(time: UnixMs, value: i32) -> Reading {
    let mut reading = Reading::new(time, State::default());
    reading.set(Channel::ReturnAirControl, Value::Number(value));
    reading
}

pub(crate) fn batch<'a>(rows: impl IntoIterator<Item = (&'a str, Reading)>) -> Batch {
    let mut batch = Batch::default();
    for (unit, reading) in rows {
        let unit = batch.unit_index(&id(unit));
        batch.push(unit, &reading);
    }
    batch
}

pub(crate) fn meta(position: u64) -> RowMeta {
    RowMeta { received_ms: DAY + 1_000, late_before_ms: 0, position }
}

/// A row as it is compared in tests.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Row {
    pub(crate) unit: String,
    pub(crate) late: bool,
    pub(crate) received: UnixMs,
    pub(crate) reading: Reading,
}

/// Every row of every file the manifest names, in the order of unit and time.
pub(crate) fn stored(root: &Path) -> Vec<Row> {
    let store = LocalStore::new(root).unwrap();
    let snapshot = Snapshot::load(&store).unwrap();
    let mut rows = Vec::new();
    for file in snapshot.files() {
        let contents = file.read(&store).unwrap();
        rows.extend(contents.readings().map(|r| Row {
            unit: r.unit.to_string(),
            late: r.late,
            received: r.received,
            reading: r.reading,
        }));
    }
    rows.sort_by(|a, b| (&a.unit, a.reading.time).cmp(&(&b.unit, b.reading.time)));
    rows
}

/// Unit, time and first value of every stored row.
pub(crate) fn stored_brief(root: &Path) -> Vec<(String, UnixMs, Option<i32>)> {
    let brief = |row: Row| (row.unit, row.reading.time, row.reading.fixed(Channel::ReturnAirControl));
    stored(root).into_iter().map(brief).collect()
}

/// Names of the data files that are on disk, whoever names them, sorted.
pub(crate) fn on_disk(root: &Path) -> Vec<String> {
    let store = LocalStore::new(root).unwrap();
    let mut files = store.list("events").unwrap();
    files.extend(store.list("readings").unwrap());
    files.into_iter().map(|l| l.key).collect()
}

/// A store on which only the first `allowed` changes succeed, as if the power went after them.
#[derive(Debug)]
pub(crate) struct Failing {
    inner: LocalStore,
    allowed: AtomicI64,
}

impl Failing {
    pub(crate) fn new(root: &Path, allowed: i64) -> Self {
        Self { inner: LocalStore::new(root).unwrap(), allowed: AtomicI64::new(allowed) }
    }

    /// Changes that may still succeed.
    pub(crate) fn left(&self) -> i64 {
        self.allowed.load(Ordering::Relaxed)
    }

    /// Lets every further change succeed.
    pub(crate) fn mend(&self) {
        self.allowed.store(i64::MAX, Ordering::Relaxed);
    }

    /// Lets `allowed` further changes succeed.
    pub(crate) fn allow(&self, allowed: i64) {
        self.allowed.store(allowed, Ordering::Relaxed);
    }

    fn change(&self, key: &str) -> Result<(), StoreError> {
        if self.allowed.fetch_sub(1, Ordering::Relaxed) > 0 {
            return Ok(());
        }
        let source = std::io::Error::other("the power is gone");
        Err(StoreError::Io { action: "write", key: key.to_owned(), source })
    }
}

impl Store for Failing {
    fn put(&self, key: &str, bytes: &[u8]) -> Result<(), StoreError> {
        self.change(key)?;
        self.inner.put(key, bytes)
    }

    fn put_new(&self, key: &str, bytes: &[u8]) -> Result<(), StoreError> {
        self.change(key)?;
        self.inner.put_new(key, bytes)
    }

    fn get(&self, key: &str) -> Result<Vec<u8>, StoreError> {
        self.inner.get(key)
    }

    fn get_range(&self, key: &str, range: Range<u64>) -> Result<Vec<u8>, StoreError> {
        self.inner.get_range(key, range)
    }

    fn size(&self, key: &str) -> Result<Option<u64>, StoreError> {
        self.inner.size(key)
    }

    fn list(&self, prefix: &str) -> Result<Vec<Listed>, StoreError> {
        self.inner.list(prefix)
    }

    fn delete(&self, key: &str) -> Result<(), StoreError> {
        self.change(key)?;
        self.inner.delete(key)
    }

    fn claim(&self) -> Result<Box<dyn Claim>, StoreError> {
        self.inner.claim()
    }

    fn local_path(&self, key: &str) -> Option<PathBuf> {
        self.inner.local_path(key)
    }

    fn place(&self) -> String {
        self.inner.place()
    }
}
