use std::fs;
use std::ops::Range;
use std::path::PathBuf;
use std::sync::Arc;

use rimeline_archive::{Claim, Listed, LocalStore, Store, StoreError};
use rimeline_channels::{Absence, Channel, DAY_MS, MINUTE_MS, Value};
use rimeline_history::{History, HistoryError};

use crate::support::{DAY, add, batch, id, open, reading};

const AIR: Channel = Channel::ReturnAirControl;
const HOURS: Channel = Channel::EngineHours;

#[test]
fn files_and_tail_read_as_one_series_in_exact_quantities() {
    let dir = tempfile::tempdir().unwrap();
    let archive = open(dir.path());
    let history = History::of_archive(archive.clone());
    let mut expected = Vec::new();
    for n in 0..400_i64 {
        let time = DAY - DAY_MS + n * 7 * MINUTE_MS;
        let number = (n * 9_973 % 4_001 - 2_000) as i32;
        add(
            &archive,
            n as u64,
            &batch([("U1", reading(time, &[(AIR, number), (HOURS, i32::MAX - number.abs())]))]),
        );
        expected.push((time, AIR.to_quantity(number), HOURS.to_quantity(i32::MAX - number.abs())));
        if n % 70 == 69 {
            archive.flush(n as u64 + 1).unwrap();
        }
    }
    let found = history.readings(&id("U1"), i64::MIN, i64::MAX, &[AIR, HOURS]).unwrap();
    assert_eq!(found.times, expected.iter().map(|e| e.0).collect::<Vec<_>>());
    assert_eq!(found.columns[0].values, expected.iter().map(|e| e.1).collect::<Vec<_>>());
    assert_eq!(found.columns[1].values, expected.iter().map(|e| e.2).collect::<Vec<_>>());

    let (from, until) = (expected[100].0, expected[390].0);
    let part = history.readings(&id("U1"), from, until, &[AIR]).unwrap();
    assert_eq!(part.times, expected[100..390].iter().map(|e| e.0).collect::<Vec<_>>());
    for partition in archive.compact_due(rimeline_archive::Day(i32::MAX)) {
        archive.compact(partition).unwrap();
    }
    assert_eq!(history.readings(&id("U1"), i64::MIN, i64::MAX, &[AIR, HOURS]).unwrap(), found);
}

#[test]
fn of_one_unit_and_time_the_row_archived_first_counts_also_over_the_tail() {
    let dir = tempfile::tempdir().unwrap();
    let archive = open(dir.path());
    for n in 0..3 {
        add(&archive, n, &batch([("U1", reading(DAY + 1 - n as i64 % 2, &[(AIR, n as i32)]))]));
        archive.flush(n + 1).unwrap();
    }
    add(&archive, 3, &batch([("U1", reading(DAY, &[(AIR, 3)])), ("U1", reading(DAY - 1, &[(AIR, 4)]))]));
    let found = History::of_archive(archive).readings(&id("U1"), DAY - 5, DAY + 5, &[AIR]).unwrap();
    assert_eq!(found.times, [DAY - 1, DAY, DAY + 1]);
    assert_eq!(found.columns[0].values, [0.4, 0.1, 0.0]);
}

#[test]
fn a_channel_that_only_some_files_have_has_no_number_in_the_others() {
    let dir = tempfile::tempdir().unwrap();
    let archive = open(dir.path());
    let mut failed = reading(DAY + 1, &[(AIR, 2)]);
    failed.set(Channel::Coil, Value::Absent(Absence::FailedOpen));
    let rows = [reading(DAY, &[(AIR, 1)]), failed, reading(DAY + 2, &[(Channel::Coil, 3)])];
    for (n, row) in rows.into_iter().enumerate() {
        add(&archive, n as u64, &batch([("U1", row)]));
        archive.flush(n as u64 + 1).unwrap();
    }
    let history = History::of_archive(archive);
    let found = history.readings(&id("U1"), DAY, DAY + 3, &[]).unwrap();
    let channels: Vec<_> = found.columns.iter().map(|c| c.channel).collect();
    assert_eq!(channels, [AIR, Channel::Coil]);
    let series = found.series();
    assert_eq!(
        (series[0].times.as_slice(), series[0].values.as_slice()),
        (&[DAY, DAY + 1][..], &[0.1, 0.2][..])
    );
    assert_eq!((series[1].times.as_slice(), series[1].values.as_slice()), (&[DAY + 2][..], &[0.3][..]));
    let none = history.readings(&id("U1"), DAY, DAY + 3, &[Channel::FuelLevel]).unwrap();
    assert_eq!(none.times.len(), 3);
    assert!(none.columns[0].values.iter().all(|v| v.is_nan()) && none.series()[0].times.is_empty());
}

#[test]
fn only_files_of_the_days_and_the_bucket_asked_for_are_opened() {
    let dir = tempfile::tempdir().unwrap();
    let archive = open(dir.path());
    let days = [0, 1, 2].map(|n| DAY + n * DAY_MS);
    let rows = days.iter().flat_map(|t| ["U1", "U2", "A", "B"].map(|unit| (unit, reading(*t, &[(AIR, 5)]))));
    add(&archive, 0, &batch(rows));
    archive.flush(1).unwrap();
    let store = archive.store().clone();
    let snapshot = archive.snapshot();
    let unit = id("U1");
    let needed: Vec<_> = snapshot
        .files_in(rimeline_archive::Dataset::Readings, Some(&unit), days[1], days[1] + 1)
        .map(|f| f.path.clone())
        .collect();
    assert_eq!(needed.len(), 1);
    for file in snapshot.files().filter(|f| !needed.contains(&f.path)) {
        fs::write(dir.path().join(&file.path), "no Parquet").unwrap();
    }
    let history = History::of_files(store);
    let found = history.readings(&unit, days[1], days[1] + 1, &[AIR]).unwrap();
    assert_eq!(found.times, [days[1]]);

    let error = history.readings(&unit, days[0], days[2], &[AIR]).unwrap_err();
    assert!(
        error.to_string().contains("rimeline verify") && error.to_string().contains("day=2026"),
        "{error}"
    );
}

#[test]
fn unknown_units_and_empty_spans_give_nothing_and_reversed_spans_are_refused() {
    let dir = tempfile::tempdir().unwrap();
    let archive = open(dir.path());
    add(&archive, 0, &batch([("U1", reading(DAY, &[(AIR, 1)]))]));
    archive.flush(1).unwrap();
    let history = History::of_archive(archive);
    assert!(history.readings(&id("nobody"), i64::MIN, i64::MAX, &[]).unwrap().times.is_empty());
    assert!(history.readings(&id("U1"), DAY, DAY, &[AIR]).unwrap().times.is_empty());
    assert!(history.readings(&id("U1"), DAY + 1, i64::MAX, &[AIR]).unwrap().times.is_empty());
    let error = history.readings(&id("U1"), DAY, DAY - 1, &[]).unwrap_err();
    assert!(matches!(error, HistoryError::Span { .. }), "{error}");
}

#[test]
fn a_place_without_an_archive_is_said_to_be_one() {
    let dir = tempfile::tempdir().unwrap();
    let history = History::of_files(Arc::new(LocalStore::new(dir.path()).unwrap()));
    let error = history.readings(&id("U1"), 0, 1, &[]).unwrap_err();
    assert!(error.to_string().contains("there is no archive in"), "{error}");
}

/// A store that has no files to show, only objects to hand out.
#[derive(Debug)]
struct Remote(LocalStore);

impl Store for Remote {
    fn put(&self, key: &str, bytes: &[u8]) -> Result<(), StoreError> {
        self.0.put(key, bytes)
    }
    fn put_new(&self, key: &str, bytes: &[u8]) -> Result<(), StoreError> {
        self.0.put_new(key, bytes)
    }
    fn get(&self, key: &str) -> Result<Vec<u8>, StoreError> {
        self.0.get(key)
    }
    fn get_range(&self, key: &str, range: Range<u64>) -> Result<Vec<u8>, StoreError> {
        self.0.get_range(key, range)
    }
    fn size(&self, key: &str) -> Result<Option<u64>, StoreError> {
        self.0.size(key)
    }
    fn list(&self, prefix: &str) -> Result<Vec<Listed>, StoreError> {
        self.0.list(prefix)
    }
    fn delete(&self, key: &str) -> Result<(), StoreError> {
        self.0.delete(key)
    }
    fn claim(&self) -> Result<Box<dyn Claim>, StoreError> {
        self.0.claim()
    }
    fn local_path(&self, _key: &str) -> Option<PathBuf> {
        None
    }
    fn place(&self) -> String {
        self.0.place()
    }
}

#[test]
fn a_store_without_local_files_answers_the_same() {
    let dir = tempfile::tempdir().unwrap();
    let archive = open(dir.path());
    for n in 0..5 {
        add(&archive, n, &batch([("U1", reading(DAY + n as i64, &[(AIR, n as i32)]))]));
        archive.flush(n + 1).unwrap();
    }
    let local = History::of_files(archive.store().clone());
    let remote = History::of_files(Arc::new(Remote(LocalStore::new(dir.path()).unwrap())));
    let found = remote.readings(&id("U1"), DAY, DAY + 10, &[]).unwrap();
    assert_eq!(found.times.len(), 5);
    assert_eq!(found, local.readings(&id("U1"), DAY, DAY + 10, &[]).unwrap());
}
