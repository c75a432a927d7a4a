use std::task::{Context, Waker};
use std::time::Duration;

use rimeline_journal::{Journal, JournalError, LocalJournal, Options, Position};

use crate::memory_disk::MemoryDisk;
use crate::{open, read_all, record, small};

#[tokio::test]
async fn a_record_at_the_limit_is_taken_and_one_byte_more_is_refused_for_good() {
    let dir = tempfile::tempdir().unwrap();
    let journal = open(dir.path());
    let limit = small().max_record_bytes;
    journal.append(record(1, limit).into()).await.unwrap();
    let error = journal.append(record(2, limit + 1).into()).await.unwrap_err();
    assert!(matches!(error, JournalError::TooLarge { .. }) && !error.is_retryable(), "{error}");
    journal.append("goes on".into()).await.unwrap();
    let found = read_all(&journal, Position::START);
    assert_eq!(found.iter().map(|e| e.record.len()).collect::<Vec<_>>(), [limit, 7]);
}

#[tokio::test]
async fn the_largest_record_fits_where_settings_are_as_tight_as_they_may_be() {
    let dir = tempfile::tempdir().unwrap();
    let max_record_bytes = 4096 - 128 - 16;
    let options = Options {
        segment_bytes: 4096,
        max_record_bytes,
        commit_bytes: 1,
        queue_bytes: max_record_bytes + 256,
        journal_bytes: 8192,
        ..Options::default()
    };
    let journal = LocalJournal::open(dir.path(), options.clone()).unwrap();
    for number in 0..2 {
        journal.append(record(number, max_record_bytes).into()).await.unwrap();
    }
    journal.close().await.unwrap();
    let journal = LocalJournal::open(dir.path(), options).unwrap();
    assert_eq!(read_all(&journal, Position::START).len(), 2);
}

#[tokio::test]
async fn a_full_queue_makes_appends_wait_in_order_and_nothing_is_lost() {
    let disk = MemoryDisk::new(1);
    let options = Options { queue_bytes: 2 * (2048 + 256), ..small() };
    let journal = LocalJournal::open_on(disk.shared(), "/j", options).unwrap();
    disk.hold_syncs();
    let held: Vec<_> = (0..2).map(|n| journal.append(record(n, 2048).into())).collect();
    disk.wait_until_held();

    let mut cx = Context::from_waker(Waker::noop());
    let mut waiting: Vec<_> = (2..5).map(|n| journal.append(record(n, 100 * n).into())).collect();
    for future in &mut waiting {
        assert!(future.as_mut().poll(&mut cx).is_pending());
    }
    // One that gives up while it waits for room leaves nothing.
    drop(waiting.remove(1));
    assert_eq!(journal.end(), Position::START);

    disk.let_go();
    for future in held.into_iter().chain(waiting) {
        tokio::time::timeout(Duration::from_secs(20), future).await.unwrap().unwrap();
    }
    let found: Vec<_> = read_all(&journal, Position::START).into_iter().map(|e| e.record).collect();
    assert_eq!(found, [record(0, 2048), record(1, 2048), record(2, 200), record(4, 400)]);
}

#[tokio::test]
async fn closing_answers_those_that_wait_for_room() {
    let disk = MemoryDisk::new(1);
    let options = Options { queue_bytes: 2048 + 256, ..small() };
    let journal = LocalJournal::open_on(disk.shared(), "/j", options).unwrap();
    disk.hold_syncs();
    let held = journal.append(record(0, 2048).into());
    disk.wait_until_held();
    let waiting = journal.append(record(1, 10).into());
    let (closed, refused, kept) = tokio::join!(
        journal.close(),
        async {
            disk.let_go();
            waiting.await
        },
        held
    );
    closed.unwrap();
    kept.unwrap();
    assert!(matches!(refused, Err(JournalError::Closed)), "{refused:?}");
}

#[tokio::test]
async fn a_full_journal_refuses_until_it_is_trimmed() {
    let dir = tempfile::tempdir().unwrap();
    let options = Options { journal_bytes: 8192, ..small() };
    let journal = LocalJournal::open(dir.path(), options).unwrap();
    let mut taken = 0;
    let error = loop {
        match journal.append(record(taken, 500).into()).await {
            Ok(_) => taken += 1,
            Err(error) => break error,
        }
    };
    assert!(matches!(error, JournalError::Full { limit: 8192 }) && error.is_retryable(), "{error}");
    assert_eq!(taken, 8192 / 516);
    assert!(journal.held_bytes() <= 8192);
    journal.trim(journal.end()).unwrap();
    journal.append("room again".into()).await.unwrap();
}

#[test]
fn settings_that_cannot_work_are_named_before_a_file_is_touched() {
    let good = small();
    let bad = [
        ("node", Options { node: "n".repeat(65), ..good.clone() }),
        ("max_record_bytes", Options { max_record_bytes: 0, ..good.clone() }),
        ("max_record_bytes", Options { max_record_bytes: (256 << 20) + 1, ..good.clone() }),
        ("segment_bytes", Options { segment_bytes: 4095, ..good.clone() }),
        ("segment_bytes", Options { segment_bytes: (1 << 30) + 1, ..good.clone() }),
        ("segment_bytes", Options { max_record_bytes: 4096 - 128 - 15, ..good.clone() }),
        ("commit_bytes", Options { commit_bytes: 0, ..good.clone() }),
        ("commit_bytes", Options { commit_bytes: 4096 - 127, ..good.clone() }),
        ("commit_interval", Options { commit_interval: Duration::from_millis(1001), ..good.clone() }),
        ("queue_bytes", Options { queue_bytes: 2048 + 255, ..good.clone() }),
        ("queue_bytes", Options { queue_bytes: u32::MAX as usize + 1, ..good.clone() }),
        ("journal_bytes", Options { journal_bytes: 8191, ..good.clone() }),
    ];
    good.check().unwrap();
    Options::default().check().unwrap();
    let dir = tempfile::tempdir().unwrap();
    for (expected, options) in bad {
        match LocalJournal::open(dir.path(), options) {
            Err(JournalError::BadOption { field, .. }) => assert_eq!(field, expected),
            other => panic!("{expected}: {:?}", other.err()),
        }
    }
    assert_eq!(std::fs::read_dir(dir.path()).unwrap().count(), 0);
}
