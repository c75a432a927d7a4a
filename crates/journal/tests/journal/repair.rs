use std::fs;
use std::path::Path;

use rimeline_journal::{Entry, Journal, JournalError, Position, inspect, repair};

use crate::{open, read_all, record, segments, written};

/// Repairs, and checks that the journal then holds `expected` at its old places and goes on.
async fn repaired(dir: &Path, expected: &[Entry], lost: &[&Entry]) {
    let seen = inspect(dir).unwrap();
    assert!(!seen.damages.is_empty());
    let report = repair(dir).unwrap();
    assert_eq!(report.damages, seen.damages);
    for entry in lost {
        let named = report.damages.iter().any(|d| d.from <= entry.position && entry.next <= d.to);
        assert!(named, "the report does not say that {} is lost: {report:?}", entry.position);
    }
    let after = inspect(dir).unwrap();
    assert_eq!((after.damages.len(), after.records), (0, expected.len() as u64));
    assert_eq!(
        repair(dir).unwrap().copies,
        Vec::<std::path::PathBuf>::new(),
        "a second repair has nothing to do"
    );

    let journal = open(dir);
    assert_eq!(read_all(&journal, journal.start()), expected);
    // Readers that were anywhere go on from there.
    for entry in expected.iter().chain(lost.iter().copied()) {
        let next = expected.iter().find(|e| e.position >= entry.position);
        assert_eq!(journal.read(entry.position, 1).unwrap().first(), next);
    }
    let at = journal.end();
    journal.append(record(9999, 90).into()).await.unwrap();
    journal.close().await.unwrap();
    assert_eq!(read_all(&open(dir), at)[0].record, record(9999, 90));
}

#[tokio::test]
async fn a_damaged_stretch_costs_only_the_records_in_it() {
    let dir = tempfile::tempdir().unwrap();
    let entries = written(dir.path(), 150).await;
    let path = &segments(dir.path())[1];
    let before = fs::read(path).unwrap();
    let mut bytes = before.clone();
    bytes[1000..1300].fill(0xAA);
    fs::write(path, &bytes).unwrap();

    // Frames of 116 bytes after a header of 128: the ones at 940 .. 1288 are hit, and the one that follows.
    let first = entries.iter().position(|e| e.position.get() >= 34 * 116).unwrap();
    let lost: Vec<_> = (7..=10).map(|n| &entries[first + n]).collect();
    let expected: Vec<_> = entries.iter().filter(|e| !lost.contains(e)).cloned().collect();
    repaired(dir.path(), &expected, &lost).await;
    let copy = format!("{}.damaged", path.display());
    assert_eq!(fs::read(copy).unwrap(), bytes, "the damaged file is put aside as it was");
}

#[tokio::test]
async fn a_missing_segment_costs_only_its_own_records_wherever_it_was() {
    for missing in 0..5 {
        let dir = tempfile::tempdir().unwrap();
        let entries = written(dir.path(), 150).await;
        let paths = segments(dir.path());
        assert_eq!(paths.len(), 5);
        fs::remove_file(&paths[missing]).unwrap();
        let (lost, expected): (Vec<_>, Vec<_>) =
            entries.iter().enumerate().partition(|(n, _)| n / 34 == missing);
        let expected: Vec<_> = expected.into_iter().map(|(_, e)| e.clone()).collect();
        let lost: Vec<_> = lost.into_iter().map(|(_, e)| e).collect();
        repaired(dir.path(), &expected, &lost).await;
    }
}

#[tokio::test]
async fn a_damaged_header_costs_no_record() {
    for hit in 0..5 {
        let dir = tempfile::tempdir().unwrap();
        let entries = written(dir.path(), 150).await;
        let path = &segments(dir.path())[hit];
        let mut bytes = fs::read(path).unwrap();
        bytes[..128].fill(0);
        fs::write(path, bytes).unwrap();
        repaired(dir.path(), &entries, &[]).await;
    }
}

#[tokio::test]
async fn a_lost_checkpoint_costs_no_record() {
    let dir = tempfile::tempdir().unwrap();
    let entries = written(dir.path(), 150).await;
    fs::remove_file(dir.path().join("checkpoint")).unwrap();
    repaired(dir.path(), &entries, &[]).await;
}

#[tokio::test]
async fn an_end_that_is_gone_is_reported_and_positions_go_on_after_it() {
    let dir = tempfile::tempdir().unwrap();
    let entries = written(dir.path(), 40).await;
    let path = segments(dir.path()).pop().unwrap();
    let bytes = fs::read(&path).unwrap();
    fs::write(&path, &bytes[..bytes.len() - 130]).unwrap();
    let lost: Vec<_> = entries[38..].iter().collect();
    repaired(dir.path(), &entries[..38], &lost).await;
}

#[tokio::test]
async fn damage_in_two_places_and_a_repair_after_a_repair_keep_every_copy() {
    let dir = tempfile::tempdir().unwrap();
    written(dir.path(), 150).await;
    let paths = segments(dir.path());
    for round in 1..=2 {
        for path in &paths[..2] {
            let mut bytes = fs::read(path).unwrap();
            bytes[500 * round] ^= 1;
            fs::write(path, bytes).unwrap();
        }
        let report = repair(dir.path()).unwrap();
        assert_eq!((report.damages.len(), report.copies.len()), (2, 2));
    }
    let copies = fs::read_dir(dir.path()).unwrap().filter(|e| {
        let name = e.as_ref().unwrap().file_name();
        name.to_str().unwrap().ends_with(".damaged")
    });
    assert_eq!(copies.count(), 4);
    assert_eq!(read_all(&open(dir.path()), Position::START).len(), 150 - 4);
}

#[tokio::test]
async fn a_whole_journal_is_reported_whole_and_left_as_it_is() {
    let dir = tempfile::tempdir().unwrap();
    let entries = written(dir.path(), 150).await;
    let report = repair(dir.path()).unwrap();
    assert_eq!(report, inspect(dir.path()).unwrap());
    assert_eq!((report.records, report.segments, report.torn_bytes), (150, 5, 0));
    assert_eq!((report.start, report.end), (Position::START, entries[149].next));
    assert!(report.damages.is_empty() && report.copies.is_empty());
}

#[test]
fn no_journal_is_said_to_be_none_and_gets_no_files() {
    let dir = tempfile::tempdir().unwrap();
    assert!(matches!(inspect(dir.path()), Err(JournalError::Foreign { .. })));
    assert!(matches!(repair(dir.path()), Err(JournalError::Foreign { .. })));
    assert_eq!(fs::read_dir(dir.path()).unwrap().count(), 0);
}

#[test]
fn a_journal_in_use_is_not_inspected_or_repaired() {
    let dir = tempfile::tempdir().unwrap();
    let _journal = open(dir.path());
    assert!(matches!(inspect(dir.path()), Err(JournalError::Locked { .. })));
    assert!(matches!(repair(dir.path()), Err(JournalError::Locked { .. })));
}
