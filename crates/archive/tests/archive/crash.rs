use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::sync::Arc;

use rimeline_archive::{
    Archive, ArchiveError, LocalStore, Options, RECORDS_PER_SUMMARY, Snapshot, StoreError,
};
use rimeline_channels::{Batch, DAY_MS, Event, EventKind};

use crate::support::{DAY, Failing, batch, id, meta, on_disk, open, options, reading, stored_brief};

const BATCHES: u64 = 12;
const FLUSH_EVERY: u64 = 3;

/// Batch `n` of a journal: three units, two days, one event, each row once.
fn journal(n: u64) -> Batch {
    let time = DAY + n as i64 * 60_000;
    let value = n as i32;
    let mut batch = batch([
        ("U1", reading(time, value)),
        ("U2", reading(time - DAY_MS, value)),
        ("U3", reading(time, value)),
    ]);
    batch.events.push(Event { unit: 0, time, kind: EventKind::SetPointChanged(value) });
    batch
}

/// Adds and flushes from the archive's position on, merging whenever it is due, until done or until the store fails.
fn run(archive: &Archive) -> Result<(), ArchiveError> {
    for n in archive.position()..BATCHES {
        archive.add(&journal(n), meta(n))?;
        if (n + 1) % FLUSH_EVERY == 0 {
            archive.flush(n + 1)?;
            for partition in archive.merge_due() {
                archive.merge(partition)?;
            }
        }
    }
    Ok(())
}

fn crash_options() -> Options {
    Options { merge_files: 2, ..options() }
}

fn contents(root: &Path) -> BTreeMap<String, Vec<u8>> {
    on_disk(root).into_iter().map(|key| (key.clone(), fs::read(root.join(&key)).unwrap())).collect()
}

#[test]
fn a_crash_after_any_change_on_disk_loses_no_row_doubles_none_and_ends_in_the_same_files() {
    let whole = tempfile::tempdir().unwrap();
    run(&Archive::open(Arc::new(LocalStore::new(whole.path()).unwrap()), crash_options()).unwrap()).unwrap();
    let expected = stored_brief(whole.path());
    assert_eq!(expected.len(), 3 * BATCHES as usize);

    let mut crashes = 0;
    for allowed in 0.. {
        let dir = tempfile::tempdir().unwrap();
        let opened = Archive::open(Arc::new(Failing::new(dir.path(), allowed)), crash_options());
        let finished = opened.is_ok_and(|archive| run(&archive).is_ok());

        // What any reader of the manifest sees right after the crash: every row before the position, once.
        if let Ok(snapshot) = Snapshot::load(&LocalStore::new(dir.path()).unwrap()) {
            let rows = stored_brief(dir.path());
            assert_eq!(rows.len() as u64, 3 * snapshot.position(), "after {allowed} changes");
        }
        let archive = Archive::open(Arc::new(LocalStore::new(dir.path()).unwrap()), crash_options()).unwrap();
        let named: Vec<_> = archive.snapshot().files().map(|f| f.path.clone()).collect();
        assert_eq!(on_disk(dir.path()), sorted(named), "after {allowed} changes and opening");
        run(&archive).unwrap();
        assert_eq!(stored_brief(dir.path()), expected, "after {allowed} changes and a replay");
        assert!(archive.verify().unwrap().is_clean(), "after {allowed} changes");
        assert_eq!(fs::read_dir(dir.path().join("tmp")).unwrap().count(), 0);
        if finished {
            break;
        }
        crashes += 1;
    }
    assert!(crashes > 40, "only {crashes} places to crash at");
}

fn sorted(mut keys: Vec<String>) -> Vec<String> {
    keys.sort();
    keys
}

#[test]
fn files_written_before_a_crash_are_removed_at_open_and_written_again_byte_for_byte() {
    let dir = tempfile::tempdir().unwrap();
    let store = Arc::new(Failing::new(dir.path(), i64::MAX));
    let archive = Archive::open(store.clone(), options()).unwrap();
    archive.add(&journal(0), meta(0)).unwrap();
    // All data files are written, the record is not.
    let files = 4;
    store.allow(files);
    archive.flush(1).unwrap_err();
    drop(archive);
    let before = contents(dir.path());
    assert_eq!(before.len(), files as usize);

    let archive = open(dir.path());
    assert_eq!(sorted(archive.opened().removed.clone()), before.keys().cloned().collect::<Vec<_>>());
    assert!(on_disk(dir.path()).is_empty());
    assert_eq!(archive.position(), 0);
    archive.add(&journal(0), meta(0)).unwrap();
    archive.flush(1).unwrap();
    assert_eq!(contents(dir.path()), before);
}

#[test]
fn rows_wait_while_the_disk_is_full_and_are_written_once_when_it_has_room() {
    let dir = tempfile::tempdir().unwrap();
    let store = Arc::new(Failing::new(dir.path(), i64::MAX));
    let archive = Archive::open(store.clone(), options()).unwrap();
    archive.add(&journal(0), meta(0)).unwrap();
    store.allow(2);
    let error = archive.flush(1).unwrap_err();
    assert!(error.is_retryable(), "{error}");
    archive.add(&journal(1), meta(1)).unwrap();
    assert_eq!(archive.tail(&id("U1"), 0, i64::MAX).len(), 2);
    store.allow(0);
    archive.flush(2).unwrap_err();
    store.mend();
    archive.flush(2).unwrap();
    assert_eq!(stored_brief(dir.path()).len(), 6);
    assert_eq!(archive.tail(&id("U1"), 0, i64::MAX).len(), 0);
    assert!(archive.verify().unwrap().is_clean());
}

#[test]
fn a_failed_manifest_write_stops_the_archive_until_it_is_opened_anew() {
    let dir = tempfile::tempdir().unwrap();
    let store = Arc::new(Failing::new(dir.path(), i64::MAX));
    let archive = Archive::open(store.clone(), options()).unwrap();
    archive.add(&journal(0), meta(0)).unwrap();
    store.allow(4);
    archive.flush(1).unwrap_err();
    store.mend();
    let error = archive.flush(1).unwrap_err();
    assert!(
        matches!(error, ArchiveError::Stopped { .. }) && error.to_string().contains("restart"),
        "{error}"
    );
    assert_eq!(
        archive.tail(&id("U1"), 0, i64::MAX).len(),
        1,
        "the tail still shows what no file is known to hold"
    );
    drop(archive);
    let archive = open(dir.path());
    archive.add(&journal(0), meta(0)).unwrap();
    archive.flush(1).unwrap();
    assert_eq!(stored_brief(dir.path()).len(), 3);
}

#[test]
fn a_second_writer_is_refused_and_readers_are_not() {
    let dir = tempfile::tempdir().unwrap();
    let archive = open(dir.path());
    let second = Archive::open(Arc::new(LocalStore::new(dir.path()).unwrap()), options());
    assert!(matches!(second, Err(ArchiveError::Store(StoreError::Claimed(_)))), "{second:?}");
    assert_eq!(Snapshot::load(&LocalStore::new(dir.path()).unwrap()).unwrap().position(), 0);
    drop(archive);
    open(dir.path());
}

#[test]
fn a_second_writer_that_got_past_the_lock_cannot_write_over_a_record() {
    let dir = tempfile::tempdir().unwrap();
    let archive = open(dir.path());
    fs::write(dir.path().join("manifest/000000000001.record.jsonl"), "another writer's").unwrap();
    archive.add(&journal(0), meta(0)).unwrap();
    let error = archive.flush(1).unwrap_err();
    assert!(matches!(error, ArchiveError::Store(StoreError::Exists(_))), "{error}");
}

fn copy(from: &Path, to: &Path) {
    fs::create_dir_all(to).unwrap();
    for entry in fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        let target = to.join(entry.file_name());
        if entry.file_type().unwrap().is_dir() {
            copy(&entry.path(), &target);
        } else {
            fs::copy(entry.path(), target).unwrap();
        }
    }
}

#[test]
fn a_crash_anywhere_in_writing_the_manifest_anew_leaves_a_manifest_that_reads() {
    let row = |n: u64| batch([("U1", reading(DAY + n as i64, n as i32))]);
    let step = |archive: &Archive, n: u64| {
        archive.add(&row(n), meta(n))?;
        archive.flush(n + 1)
    };
    let whole = tempfile::tempdir().unwrap();
    let archive = open(whole.path());
    for n in 0..RECORDS_PER_SUMMARY - 1 {
        step(&archive, n).unwrap();
    }
    drop(archive);

    let last = RECORDS_PER_SUMMARY - 1;
    for allowed in 0.. {
        let dir = tempfile::tempdir().unwrap();
        copy(whole.path(), dir.path());
        let failing = Arc::new(Failing::new(dir.path(), allowed));
        // A summary that fails leaves the flush as it is: its record counts already.
        let flushed = step(&Archive::open(failing.clone(), options()).unwrap(), last).is_ok();
        let archive = open(dir.path());
        assert_eq!(archive.position(), last + u64::from(flushed), "after {allowed} changes");
        for n in archive.position()..last + 3 {
            step(&archive, n).unwrap();
        }
        assert_eq!(stored_brief(dir.path()).len() as u64, last + 3, "after {allowed} changes");
        if failing.left() > 0 {
            // One data file, its record, the summary, and every older manifest file removed.
            assert_eq!(allowed as u64, 3 + RECORDS_PER_SUMMARY + 1 + 1);
            break;
        }
    }
}
