//! How records share a write and a sync.

use std::time::{Duration, Instant};

use rimeline_journal::{BoxFuture, Journal, JournalError, LocalJournal, Options, Position};

use crate::memory_disk::MemoryDisk;
use crate::{record, small};

type Answer<'a> = BoxFuture<'a, Result<Position, JournalError>>;

/// Appends records of 100 bytes behind one whose sync is held, and lets go.
fn behind_a_sync<'a>(disk: &MemoryDisk, journal: &'a LocalJournal, count: usize) -> Vec<Answer<'a>> {
    disk.hold_syncs();
    let mut answers: Vec<_> = vec![journal.append(record(0, 100).into())];
    disk.wait_until_held();
    answers.extend((1..=count).map(|number| journal.append(record(number, 100).into())));
    disk.let_go();
    answers
}

async fn all(answers: Vec<Answer<'_>>) {
    for answer in answers {
        answer.await.unwrap();
    }
}

#[tokio::test]
async fn what_comes_during_a_sync_is_one_write_and_one_sync() {
    let disk = MemoryDisk::new(1);
    let journal = LocalJournal::open_on(disk.shared(), "/j", small()).unwrap();
    let before = disk.operations();
    all(behind_a_sync(&disk, &journal, 17)).await;
    assert_eq!(disk.operations() - before, 4, "two groups are two writes and two syncs");
}

#[tokio::test]
async fn a_group_is_no_larger_than_the_setting() {
    let disk = MemoryDisk::new(1);
    let options = Options { commit_bytes: 5 * 116, ..small() };
    let journal = LocalJournal::open_on(disk.shared(), "/j", options).unwrap();
    let before = disk.operations();
    all(behind_a_sync(&disk, &journal, 15)).await;
    assert_eq!(disk.operations() - before, 2 + 3 * 2);
}

#[tokio::test]
async fn a_lone_record_never_waits_for_company() {
    let disk = MemoryDisk::new(1);
    let interval = Duration::from_secs(1);
    let options = Options { commit_interval: interval, ..small() };
    let journal = LocalJournal::open_on(disk.shared(), "/j", options).unwrap();
    let started = Instant::now();
    for number in 0..5 {
        journal.append(record(number, 10).into()).await.unwrap();
    }
    assert!(started.elapsed() < interval, "lone records waited {:?}", started.elapsed());
}

#[tokio::test]
async fn under_load_a_group_waits_for_company_as_long_as_set() {
    let disk = MemoryDisk::new(1);
    let interval = Duration::from_millis(100);
    let options = Options { commit_interval: interval, ..small() };
    let journal = LocalJournal::open_on(disk.shared(), "/j", options).unwrap();
    all(behind_a_sync(&disk, &journal, 2)).await;
    let started = Instant::now();
    journal.append(record(9, 10).into()).await.unwrap();
    assert!(started.elapsed() >= interval, "after {:?}", started.elapsed());
}

#[tokio::test]
async fn a_full_group_stops_waiting_for_company() {
    let disk = MemoryDisk::new(1);
    let options = Options { commit_interval: Duration::from_secs(1), commit_bytes: 5 * 116, ..small() };
    let journal = LocalJournal::open_on(disk.shared(), "/j", options).unwrap();
    all(behind_a_sync(&disk, &journal, 2)).await;
    let started = Instant::now();
    all((0..5).map(|number| journal.append(record(number, 100).into())).collect()).await;
    assert!(started.elapsed() < Duration::from_secs(1), "after {:?}", started.elapsed());
}
