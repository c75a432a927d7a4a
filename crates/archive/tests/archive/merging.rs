use std::fs::{self, File};
use std::io::Read;

use rimeline_archive::{ArchiveError, Dataset, Day, Options, Partition, RECORDS_PER_SUMMARY, Snapshot};
use rimeline_channels::{Channel, DAY_MS, Value};

use crate::support::{DAY, batch, meta, on_disk, open, open_with, options, reading, stored, stored_brief};

fn partition(archive: &rimeline_archive::Archive) -> Partition {
    *archive.snapshot().partitions().next().unwrap().0
}

fn merge_of(files: usize) -> Options {
    Options { merge_files: files, ..options() }
}

#[test]
fn a_partition_with_enough_files_becomes_one_sorted_file_without_duplicates() {
    let dir = tempfile::tempdir().unwrap();
    let archive = open_with(dir.path(), merge_of(3));
    for n in 0..3 {
        assert!(archive.merge_due().is_empty());
        // The row at DAY + 100 comes in every file; the first is kept.
        let mut odd = reading(DAY + n, n as i32);
        let channel = Channel::ALL[n as usize + 5];
        odd.set(channel, Value::Number(n as i32));
        let rows = batch([("U1", reading(DAY + 100, n as i32)), ("U1", odd)]);
        archive.add(&rows, meta(n as u64)).unwrap();
        archive.flush(n as u64 + 1).unwrap();
    }
    let before = stored(dir.path());
    assert_eq!(before.len(), 6);
    assert_eq!(archive.merge_due(), [partition(&archive)]);
    let merged = archive.merge(partition(&archive)).unwrap();
    assert_eq!((merged.replaced, merged.files, merged.rows, merged.duplicates), (3, 1, 4, 2));
    assert_eq!(on_disk(dir.path()).len(), 1);
    let at = |t| ("U1".to_owned(), DAY + t, Some(if t == 100 { 0 } else { t as i32 }));
    assert_eq!(stored_brief(dir.path()), [0, 1, 2, 100].map(at));
    // Columns that only some of the files had are kept.
    for n in 0..3 {
        assert_eq!(stored(dir.path())[n].reading.fixed(Channel::ALL[n + 5]), Some(n as i32));
    }
    assert!(archive.verify().unwrap().is_clean());
    assert_eq!(archive.merge(partition(&archive)).unwrap().replaced, 0);
    drop(archive);
    assert_eq!(open_with(dir.path(), merge_of(3)).position(), 3);
}

#[test]
fn merged_files_wait_for_others_of_their_level_so_that_a_row_is_seldom_rewritten() {
    let dir = tempfile::tempdir().unwrap();
    let archive = open_with(dir.path(), merge_of(2));
    let mut rewritten = 0;
    for n in 0..16 {
        archive.add(&batch([("U1", reading(DAY + n, 0))]), meta(n as u64)).unwrap();
        archive.flush(n as u64 + 1).unwrap();
        while let Some(due) = archive.merge_due().first() {
            rewritten += archive.merge(*due).unwrap().rows;
        }
    }
    assert_eq!(archive.snapshot().files().count(), 1);
    assert_eq!(rewritten, 16 * 4, "each row once a level");
    assert_eq!(stored(dir.path()).len(), 16);
}

#[test]
fn a_merge_holds_no_more_rows_than_it_may_and_leaves_full_files_alone() {
    let dir = tempfile::tempdir().unwrap();
    let archive = open_with(dir.path(), Options { merge_rows: 5, ..merge_of(2) });
    for n in 0..8 {
        let rows = batch([("U1", reading(DAY + 2 * n, 0)), ("U1", reading(DAY + 2 * n + 1, 0))]);
        archive.add(&rows, meta(n as u64)).unwrap();
        archive.flush(n as u64 + 1).unwrap();
        for due in archive.merge_due() {
            archive.merge(due).unwrap();
        }
    }
    let rows: Vec<_> = archive.snapshot().files().map(|f| f.rows).collect();
    assert_eq!(rows, [4, 4, 4, 4]);
    assert!(archive.merge_due().is_empty());
    assert!(archive.compact_due(Day::of(DAY + DAY_MS)).is_empty());
}

#[test]
fn days_that_are_over_are_compacted_and_the_running_day_is_not() {
    let dir = tempfile::tempdir().unwrap();
    let archive = open(dir.path());
    for n in 0..3 {
        let rows = batch([("U1", reading(DAY + n, 0)), ("U1", reading(DAY + DAY_MS + n, 0))]);
        archive.add(&rows, meta(n as u64)).unwrap();
        archive.flush(n as u64 + 1).unwrap();
    }
    let due = archive.compact_due(Day::of(DAY + DAY_MS));
    assert_eq!(due.iter().map(|p| p.day).collect::<Vec<_>>(), [Day::of(DAY)]);
    assert_eq!(archive.compact(due[0]).unwrap().replaced, 3);
    assert_eq!(archive.snapshot().files().count(), 4);
    assert_eq!(stored(dir.path()).len(), 6);
}

#[test]
fn a_reader_that_has_an_old_file_open_reads_on_after_a_merge() {
    let dir = tempfile::tempdir().unwrap();
    let archive = open_with(dir.path(), merge_of(2));
    for n in 0..2 {
        archive.add(&batch([("U1", reading(DAY + n, 0))]), meta(n as u64)).unwrap();
        archive.flush(n as u64 + 1).unwrap();
    }
    let old = archive.snapshot().files().next().unwrap().clone();
    let mut file = File::open(dir.path().join(&old.path)).unwrap();
    archive.merge(partition(&archive)).unwrap();
    assert!(!dir.path().join(&old.path).exists());
    let mut bytes = Vec::new();
    file.read_to_end(&mut bytes).unwrap();
    assert_eq!(bytes.len() as u64, old.bytes);
}

#[test]
fn a_damaged_file_is_not_merged_into_a_good_one() {
    let dir = tempfile::tempdir().unwrap();
    let archive = open_with(dir.path(), merge_of(2));
    for n in 0..2 {
        archive.add(&batch([("U1", reading(DAY + n, 0))]), meta(n as u64)).unwrap();
        archive.flush(n as u64 + 1).unwrap();
    }
    let path = dir.path().join(&on_disk(dir.path())[1]);
    let mut bytes = fs::read(&path).unwrap();
    bytes[40] ^= 1;
    fs::write(&path, bytes).unwrap();
    let error = archive.merge(partition(&archive)).unwrap_err();
    assert!(matches!(error, ArchiveError::Damaged { .. }), "{error}");
    assert_eq!(on_disk(dir.path()).len(), 2);
}

#[test]
fn old_days_are_removed_by_the_day_that_is_given_and_nothing_else_is() {
    let dir = tempfile::tempdir().unwrap();
    let archive = open(dir.path());
    let future = Day::END_MS - 1;
    let rows = [0, DAY - DAY_MS, DAY, future].map(|t| ("U1", reading(t, 0)));
    archive.add(&batch(rows), meta(0)).unwrap();
    archive.flush(1).unwrap();
    let removed = archive.remove_before(Day::of(DAY)).unwrap();
    assert_eq!((removed.files, removed.rows), (2, 2));
    assert_eq!(stored_brief(dir.path()).iter().map(|r| r.1).collect::<Vec<_>>(), [DAY, future]);
    assert_eq!(on_disk(dir.path()).len(), 2);
    assert_eq!(archive.position(), 1);
}

#[test]
fn a_manifest_of_hundreds_of_records_stays_small_on_disk_and_reads_back_the_same() {
    let dir = tempfile::tempdir().unwrap();
    let archive = open(dir.path());
    let flushes = 3 * RECORDS_PER_SUMMARY + 7;
    for n in 0..flushes {
        archive.add(&batch([("U1", reading(DAY + n as i64, 0))]), meta(n)).unwrap();
        archive.flush(n + 1).unwrap();
    }
    let files = fs::read_dir(dir.path().join("manifest")).unwrap().count() as u64;
    assert_eq!(files, 7 + 1);
    let snapshot = archive.snapshot();
    drop(archive);
    let archive = open(dir.path());
    assert_eq!(archive.snapshot(), snapshot);
    assert_eq!(Snapshot::load(archive.store().as_ref()).unwrap(), *snapshot);
    assert_eq!(snapshot.files().count() as u64, flushes);
    assert!(snapshot.files().all(|f| f.partition.dataset == Dataset::Readings));
}
