use std::sync::Arc;

use rimeline_journal::{Journal, JournalError, Position};

use crate::{open, read_all, record, segments, written};

#[tokio::test]
async fn a_follower_wakes_for_each_record_and_misses_none() {
    let dir = tempfile::tempdir().unwrap();
    let journal: Arc<dyn Journal> = Arc::new(open(dir.path()));
    let follower = tokio::spawn({
        let journal = Arc::clone(&journal);
        async move {
            let (mut at, mut seen) = (Position::START, 0);
            while seen < 300 {
                let end = journal.wait_beyond(at).await.unwrap();
                assert!(end > at);
                for entry in journal.read(at, 500).unwrap() {
                    assert_eq!(entry.record, record(seen, 50));
                    (at, seen) = (entry.next, seen + 1);
                }
            }
        }
    });
    for number in 0..300 {
        journal.append(record(number, 50).into()).await.unwrap();
    }
    follower.await.unwrap();
}

#[tokio::test]
async fn trimming_removes_whole_segments_and_keeps_all_that_was_not_asked_for() {
    let dir = tempfile::tempdir().unwrap();
    let entries = written(dir.path(), 200).await;
    let before = segments(dir.path()).len();
    let journal = open(dir.path());
    let to = entries[120].position;
    journal.trim(to).unwrap();

    let start = journal.start();
    assert!(start > Position::START && start <= to);
    assert!(segments(dir.path()).len() < before);
    let kept = read_all(&journal, start);
    assert_eq!(kept[..], entries[entries.iter().position(|e| e.position == start).unwrap()..]);
    let error = journal.read(Position::START, 100).unwrap_err();
    assert!(matches!(error, JournalError::Trimmed { start: s, .. } if s == start), "{error}");

    journal.close().await.unwrap();
    let journal = open(dir.path());
    assert_eq!(journal.start(), start);
    assert_eq!(read_all(&journal, start), kept);
}

#[tokio::test]
async fn trimming_to_the_end_leaves_one_segment_and_a_journal_that_goes_on() {
    let dir = tempfile::tempdir().unwrap();
    written(dir.path(), 200).await;
    let journal = open(dir.path());
    journal.trim(journal.end()).unwrap();
    journal.trim(journal.start()).unwrap();
    assert_eq!(segments(dir.path()).len(), 1);
    let at = journal.end();
    journal.append("more".into()).await.unwrap();
    assert_eq!(journal.read(at, 100).unwrap()[0].record, "more");
}

#[tokio::test]
async fn trimming_back_is_nothing_and_trimming_past_the_end_is_refused() {
    let dir = tempfile::tempdir().unwrap();
    written(dir.path(), 200).await;
    let journal = open(dir.path());
    journal.trim(journal.end()).unwrap();
    let start = journal.start();
    journal.trim(Position::START).unwrap();
    assert_eq!(journal.start(), start);
    let error = journal.trim(Position::new(journal.end().get() + 1)).unwrap_err();
    assert!(matches!(error, JournalError::BeyondEnd { .. }), "{error}");
    assert_eq!(journal.start(), start);
}

#[tokio::test]
async fn readers_and_a_trimmer_together_see_every_record_or_are_told() {
    let dir = tempfile::tempdir().unwrap();
    let journal = Arc::new(open(dir.path()));
    let reader = std::thread::spawn({
        let journal = Arc::clone(&journal);
        move || {
            let (mut at, mut seen) = (Position::START, Vec::new());
            while seen.last() != Some(&record(999, 40)) {
                match journal.read(at, 300) {
                    Ok(entries) => {
                        at = entries.last().map_or(at, |e| e.next);
                        seen.extend(entries.into_iter().map(|e| e.record.to_vec()));
                    }
                    Err(JournalError::Trimmed { start, .. }) => at = start,
                    Err(other) => panic!("{other}"),
                }
            }
            seen
        }
    });
    for number in 0..1000 {
        journal.append(record(number, 40).into()).await.unwrap();
        if number % 50 == 49 {
            journal.trim(journal.end()).unwrap();
        }
    }
    let seen = reader.join().unwrap();
    let mut order = (0..1000).map(|n| record(n, 40));
    assert!(seen.iter().all(|one| order.any(|expected| expected == *one)), "out of order or never written");
}
