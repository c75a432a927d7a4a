use std::path::Path;
use std::sync::Arc;

use rimeline_archive::{Archive, LocalStore, Options, RowMeta};
use rimeline_channels::{Batch, Channel, Id, Reading, State, UnixMs, Value};

/// 2026-01-31T00:00:00Z.
pub(crate) const DAY: UnixMs = 1_769_817_600_000;

pub(crate) fn id(text: &str) -> Id {
    Id::new(text).unwrap()
}

pub(crate) fn open(root: &Path) -> Arc<Archive> {
    let options = Options { buckets: 2, merge_files: 2, ..Options::default() };
    Arc::new(Archive::open(Arc::new(LocalStore::new(root).unwrap()), options).unwrap())
}

pub(crate) fn reading(time: UnixMs, numbers: &[(Channel, i32)]) -> Reading {
    let mut reading = Reading::new(time, State::default());
    for (channel, number) in numbers {
        reading.set(*channel, Value::Number(*number));
    }
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

pub(crate) fn add(archive: &Archive, position: u64, batch: &Batch) {
    archive.add(batch, RowMeta { received_ms: DAY, late_before_ms: 0, position }).unwrap();
}
