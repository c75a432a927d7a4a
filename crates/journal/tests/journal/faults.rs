use std::io::ErrorKind;

use rimeline_journal::{Journal, JournalError, LocalJournal, Options, Position};

use crate::memory_disk::{Call, MemoryDisk};
use crate::{read_all, record, small};

fn open(disk: &MemoryDisk) -> LocalJournal {
    LocalJournal::open_on(disk.shared(), "/j", small()).unwrap()
}

fn numbers(journal: &LocalJournal, count: usize) -> Vec<usize> {
    let known: Vec<_> = (0..count).map(|n| record(n, 100)).collect();
    let found = read_all(journal, journal.start());
    found.iter().map(|e| known.iter().position(|k| *k == e.record).expect("never written")).collect()
}

#[tokio::test]
async fn a_failed_sync_stops_the_journal_for_good_and_is_never_tried_again() {
    let disk = MemoryDisk::new(1);
    let journal = open(&disk);
    journal.append(record(0, 100).into()).await.unwrap();
    let end = journal.end();
    disk.fail_next(Call::SyncData, ErrorKind::Other);
    let error = journal.append(record(1, 100).into()).await.unwrap_err();
    assert!(matches!(error, JournalError::Stopped { .. }) && !error.is_retryable(), "{error}");

    let operations = disk.operations();
    for number in 2..5 {
        let later = journal.append(record(number, 100).into()).await.unwrap_err();
        assert_eq!(later.to_string(), error.to_string());
    }
    assert_eq!(journal.wait_beyond(end).await.unwrap_err().to_string(), error.to_string());
    assert_eq!(journal.trim(end).unwrap_err().to_string(), error.to_string());
    assert_eq!(journal.close().await.unwrap_err().to_string(), error.to_string());
    assert_eq!(disk.operations(), operations, "the disk was touched after a sync had failed");
    assert_eq!(journal.end(), end);
    assert_eq!(numbers(&journal, 5), [0]);
}

#[tokio::test]
async fn a_failed_sync_refuses_those_that_wait_behind_it() {
    let disk = MemoryDisk::new(1);
    let journal = open(&disk);
    disk.hold_syncs();
    let first = journal.append(record(0, 100).into());
    disk.wait_until_held();
    let second: Vec<_> = (1..4).map(|n| journal.append(record(n, 100).into())).collect();
    disk.fail_next(Call::SyncData, ErrorKind::Other);
    disk.let_go();
    first.await.unwrap();
    for refused in second {
        assert!(matches!(refused.await, Err(JournalError::Stopped { .. })));
    }
}

#[tokio::test]
async fn after_a_failed_sync_a_restart_settles_what_is_there() {
    for seed in 0..50 {
        let disk = MemoryDisk::new(seed);
        let journal = open(&disk);
        journal.append(record(0, 100).into()).await.unwrap();
        disk.fail_next(Call::SyncData, ErrorKind::Other);
        journal.append(record(1, 100).into()).await.unwrap_err();
        drop(journal);

        // What the restart shows must outlive a power cut: it may not be what only memory held.
        let journal = open(&disk);
        let shown = numbers(&journal, 2);
        assert_eq!(shown[0], 0);
        drop(journal);
        disk.power_cycle();
        assert_eq!(numbers(&open(&disk), 2), shown, "seed {seed}");
    }
}

#[tokio::test]
async fn a_failed_write_loses_only_its_own_records_and_the_next_goes_to_a_new_segment() {
    let disk = MemoryDisk::new(1);
    let journal = open(&disk);
    journal.append(record(0, 100).into()).await.unwrap();
    let segments = count_segments(&disk);
    disk.fail_next(Call::Write, ErrorKind::Other);
    let error = journal.append(record(1, 100).into()).await.unwrap_err();
    assert!(matches!(error, JournalError::Append { .. }) && error.is_retryable(), "{error}");
    journal.append(record(2, 100).into()).await.unwrap();
    assert_eq!(count_segments(&disk), segments + 1);
    assert_eq!(numbers(&journal, 3), [0, 2]);
    journal.close().await.unwrap();
    assert_eq!(numbers(&open(&disk), 3), [0, 2]);
}

#[tokio::test]
async fn a_failed_first_write_into_an_empty_segment_replaces_the_segment() {
    let disk = MemoryDisk::new(1);
    let journal = open(&disk);
    disk.fail_next(Call::Write, ErrorKind::Other);
    journal.append(record(0, 100).into()).await.unwrap_err();
    journal.append(record(1, 100).into()).await.unwrap();
    assert_eq!(count_segments(&disk), 1);
    assert_eq!(numbers(&journal, 2), [1]);
    drop(journal);
    disk.power_cycle();
    assert_eq!(numbers(&open(&disk), 2), [1]);
}

#[tokio::test]
async fn a_failed_write_that_cannot_be_undone_stops_the_journal() {
    for call in [Call::Truncate, Call::SyncAll] {
        let disk = MemoryDisk::new(1);
        let journal = open(&disk);
        disk.fail_next(Call::Write, ErrorKind::Other);
        disk.fail_next(call, ErrorKind::Other);
        let error = journal.append(record(0, 100).into()).await.unwrap_err();
        assert!(matches!(error, JournalError::Stopped { .. }), "{error}");
        journal.append(record(1, 100).into()).await.unwrap_err();
    }
}

#[tokio::test]
async fn whatever_fails_while_a_segment_is_begun_no_acknowledged_record_is_lost() {
    for call in [Call::Create, Call::Write, Call::Rename, Call::SyncAll, Call::SyncDir] {
        let disk = MemoryDisk::new(1);
        let journal = open(&disk);
        // 35 records of 116 bytes fill a segment.
        for number in 0..34 {
            journal.append(record(number, 100).into()).await.unwrap();
        }
        disk.fail_next(call, ErrorKind::Other);
        let refused = journal.append(record(34, 100).into()).await.unwrap_err();
        let stops = matches!(call, Call::SyncAll | Call::SyncDir);
        assert_eq!(matches!(refused, JournalError::Stopped { .. }), stops, "{call:?}: {refused}");
        assert_eq!(journal.append(record(35, 100).into()).await.is_err(), stops, "{call:?}");
        drop(journal);
        disk.power_cycle();
        let mut expected: Vec<_> = (0..34).collect();
        expected.extend((!stops).then_some(35));
        assert_eq!(numbers(&open(&disk), 36), expected, "{call:?}");
    }
}

#[tokio::test]
async fn a_full_disk_refuses_and_service_resumes_by_itself_when_there_is_room() {
    let disk = MemoryDisk::new(1);
    let journal = open(&disk);
    for number in 0..100 {
        journal.append(record(number, 100).into()).await.unwrap();
    }
    disk.set_capacity(Some(disk.used() + 300));
    let mut taken = Vec::new();
    for number in 100..110 {
        match journal.append(record(number, 100).into()).await {
            Ok(_) => taken.push(number),
            Err(error) => assert!(error.is_retryable(), "{error}"),
        }
    }
    assert!(taken.len() < 3);
    disk.set_capacity(None);
    for number in 110..120 {
        journal.append(record(number, 100).into()).await.unwrap();
    }
    let expected: Vec<_> = (0..100).chain(taken).chain(110..120).collect();
    assert_eq!(numbers(&journal, 120), expected);
    journal.close().await.unwrap();
    assert_eq!(numbers(&open(&disk), 120), expected);
}

#[tokio::test]
async fn a_trim_that_fails_forgets_nothing_or_finishes_later() {
    for call in [Call::Create, Call::Write, Call::SyncAll, Call::Rename, Call::SyncDir, Call::Unlink] {
        let disk = MemoryDisk::new(1);
        let journal = open(&disk);
        for number in 0..100 {
            journal.append(record(number, 100).into()).await.unwrap();
        }
        disk.fail_next(call, ErrorKind::Other);
        let error = journal.trim(journal.end()).unwrap_err();
        assert!(matches!(error, JournalError::Io { .. }), "{error}");
        if call != Call::Unlink {
            assert_eq!(journal.start(), Position::START, "{call:?}");
            assert_eq!(numbers(&journal, 100).len(), 100);
        }
        journal.trim(journal.end()).unwrap();
        assert_eq!(count_segments(&disk), 1, "{call:?}");
    }
}

#[tokio::test]
async fn a_close_that_cannot_note_the_end_says_so_and_loses_nothing() {
    let disk = MemoryDisk::new(1);
    let journal = open(&disk);
    journal.append(record(0, 100).into()).await.unwrap();
    disk.fail_next(Call::SyncAll, ErrorKind::Other);
    assert!(matches!(journal.close().await, Err(JournalError::Io { .. })));
    assert_eq!(numbers(&open(&disk), 1), [0]);
}

#[tokio::test]
async fn dropping_without_closing_keeps_what_was_acknowledged() {
    let disk = MemoryDisk::new(1);
    let journal = open(&disk);
    journal.append(record(0, 100).into()).await.unwrap();
    drop(journal);
    assert_eq!(numbers(&open(&disk), 1), [0]);
}

#[tokio::test]
async fn two_writers_in_one_directory_are_caught() {
    let dir = tempfile::tempdir().unwrap();
    let first = crate::open(dir.path());
    let error = LocalJournal::open(dir.path(), Options::default()).err().unwrap();
    assert!(matches!(error, JournalError::Locked { .. }), "{error}");
    first.append("still good".into()).await.unwrap();
    first.close().await.unwrap();
    crate::open(dir.path());
}

fn count_segments(disk: &MemoryDisk) -> usize {
    let names = disk.shared().list(std::path::Path::new("/j")).unwrap();
    names.iter().filter(|name| name.ends_with(".segment")).count()
}
