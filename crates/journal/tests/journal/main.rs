//! The journal through its public face, on a real disk and on one that loses power at will.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod append_and_read;
mod corruption;
mod crash;
mod faults;
mod follow_and_trim;
mod groups;
mod limits;
mod memory_disk;
mod memory_file;
mod repair;

use std::path::Path;

use rimeline_journal::{Entry, Journal, LocalJournal, Options, Position};

/// Small segments, so that a test has several.
fn small() -> Options {
    Options {
        segment_bytes: 4096,
        max_record_bytes: 2048,
        commit_bytes: 2048,
        queue_bytes: 64 << 10,
        ..Options::default()
    }
}

fn open(dir: &Path) -> LocalJournal {
    LocalJournal::open(dir, small()).unwrap()
}

/// A record that differs from every other.
fn record(number: usize, bytes: usize) -> Vec<u8> {
    (number as u64)
        .to_le_bytes()
        .into_iter()
        .cycle()
        .zip(0u8..=250)
        .map(|(a, b)| a ^ b)
        .cycle()
        .take(bytes)
        .collect()
}

/// Everything from a position on, read in pieces.
fn read_all(journal: &dyn Journal, mut from: Position) -> Vec<Entry> {
    let mut all = Vec::new();
    loop {
        let part = journal.read(from, 700).unwrap();
        let Some(last) = part.last() else { return all };
        assert!(last.next > from);
        from = last.next;
        all.extend(part);
    }
}

/// A closed journal of `count` records of 100 bytes, and where each begins and ends.
async fn written(dir: &Path, count: usize) -> Vec<Entry> {
    let journal = open(dir);
    for number in 0..count {
        journal.append(record(number, 100).into()).await.unwrap();
    }
    let entries = read_all(&journal, Position::START);
    journal.close().await.unwrap();
    assert_eq!(entries.len(), count);
    entries
}

/// Segment files, in order.
fn segments(dir: &Path) -> Vec<std::path::PathBuf> {
    let mut found: Vec<_> = std::fs::read_dir(dir).unwrap().map(|e| e.unwrap().path()).collect();
    found.retain(|path| path.extension().is_some_and(|e| e == "segment"));
    found.sort();
    found
}
