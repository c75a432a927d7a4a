use std::sync::Arc;

use rimeline_journal::{Journal, JournalError, Position};

use crate::{open, read_all, record, segments, written};

#[tokio::test]
async fn records_come_back_in_order_byte_for_byte_before_and_after_a_restart() {
    let dir = tempfile::tempdir().unwrap();
    let before = written(dir.path(), 200).await;
    assert!(segments(dir.path()).len() > 4, "the test is about several segments");

    let journal = open(dir.path());
    let after = read_all(&journal, Position::START);
    assert_eq!(before, after);
    for (number, entry) in after.iter().enumerate() {
        assert_eq!(entry.record, record(number, 100));
    }
    assert_eq!(after[0].position, Position::START);
    assert!(after.windows(2).all(|pair| pair[0].next == pair[1].position));
    assert_eq!(after.last().unwrap().next, journal.end());
}

#[tokio::test]
async fn an_append_resolves_with_the_position_after_its_own_record() {
    let dir = tempfile::tempdir().unwrap();
    let journal = open(dir.path());
    let futures: Vec<_> = (0..50).map(|n| journal.append(record(n, 30 + n).into())).collect();
    let mut nexts = Vec::new();
    for future in futures {
        nexts.push(future.await.unwrap());
    }
    let entries = read_all(&journal, Position::START);
    assert_eq!(nexts, entries.iter().map(|entry| entry.next).collect::<Vec<_>>());
}

#[tokio::test]
async fn appends_keep_the_order_in_which_they_were_called_whenever_they_are_polled() {
    let dir = tempfile::tempdir().unwrap();
    let journal = open(dir.path());
    let first = journal.append("first".into());
    let second = journal.append("second".into());
    second.await.unwrap();
    first.await.unwrap();
    let entries = read_all(&journal, Position::START);
    assert_eq!(entries.iter().map(|e| &e.record[..]).collect::<Vec<_>>(), [&b"first"[..], b"second"]);
}

#[tokio::test]
async fn a_read_gives_about_as_much_as_asked_and_at_least_one_record() {
    let dir = tempfile::tempdir().unwrap();
    let journal = open(dir.path());
    for number in 0..10 {
        journal.append(record(number, 100).into()).await.unwrap();
    }
    assert_eq!(journal.read(Position::START, 0).unwrap().len(), 1);
    assert_eq!(journal.read(Position::START, 1).unwrap().len(), 1);
    assert_eq!(journal.read(Position::START, 350).unwrap().len(), 3);
    assert_eq!(journal.read(Position::START, usize::MAX).unwrap().len(), 10);
    assert_eq!(journal.read(journal.end(), 100).unwrap(), []);
}

#[tokio::test]
async fn an_empty_record_is_a_record() {
    let dir = tempfile::tempdir().unwrap();
    let journal = open(dir.path());
    let next = journal.append("".into()).await.unwrap();
    assert!(next > Position::START);
    let entries = read_all(&journal, Position::START);
    assert_eq!((entries.len(), entries[0].record.len()), (1, 0));
}

#[tokio::test]
async fn a_position_of_no_record_is_told_from_damage() {
    let dir = tempfile::tempdir().unwrap();
    let journal = open(dir.path());
    let next = journal.append(record(1, 100).into()).await.unwrap();
    journal.append(record(2, 100).into()).await.unwrap();
    for inside in 1..next.get() {
        let error = journal.read(Position::new(inside), 100).unwrap_err();
        assert!(matches!(error, JournalError::NoRecord { .. }), "{inside}: {error}");
    }
    let error = journal.read(Position::new(journal.end().get() + 1), 100).unwrap_err();
    assert!(matches!(error, JournalError::BeyondEnd { .. }), "{error}");
}

#[tokio::test]
async fn many_tasks_append_at_once_and_every_record_is_there_once() {
    let dir = tempfile::tempdir().unwrap();
    let journal = Arc::new(open(dir.path()));
    let tasks: Vec<_> = (0..20)
        .map(|task| {
            let journal = Arc::clone(&journal);
            tokio::spawn(async move {
                for n in 0..20 {
                    journal.append(record(task * 20 + n, 64).into()).await.unwrap();
                }
            })
        })
        .collect();
    for task in tasks {
        task.await.unwrap();
    }
    let mut found: Vec<_> = read_all(&*journal, Position::START).into_iter().map(|e| e.record).collect();
    let mut expected: Vec<_> = (0..400).map(|n| record(n, 64)).collect();
    found.sort();
    expected.sort();
    assert!(found == expected);
}

#[tokio::test]
async fn the_id_stays_with_the_journal_and_differs_between_journals() {
    let (dir, other) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let journal = open(dir.path());
    let id = journal.id();
    journal.close().await.unwrap();
    assert_eq!(open(dir.path()).id(), id);
    assert_ne!(open(other.path()).id(), id);
}

#[tokio::test]
async fn closing_writes_what_waits_and_refuses_what_comes() {
    let dir = tempfile::tempdir().unwrap();
    let journal = open(dir.path());
    let waiting: Vec<_> = (0..100).map(|n| journal.append(record(n, 100).into())).collect();
    journal.close().await.unwrap();
    for future in waiting {
        future.await.unwrap();
    }
    assert!(matches!(journal.append("late".into()).await, Err(JournalError::Closed)));
    assert!(matches!(journal.trim(journal.end()), Err(JournalError::Closed)));
    assert!(matches!(journal.wait_beyond(journal.end()).await, Err(JournalError::Closed)));
    journal.close().await.unwrap();
    // The directory is free although the handle lives, and what was read can still be read.
    assert_eq!(read_all(&open(dir.path()), Position::START).len(), 100);
    assert_eq!(read_all(&journal, Position::START).len(), 100);
}
