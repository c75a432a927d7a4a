//! What a gateway may rely on, over a real journal on a real disk.
#![allow(clippy::unwrap_used)]

use std::path::Path;
use std::sync::Arc;

use prost::Message;
use rimeline_channels::{Channel, HOUR_MS};
use rimeline_clock::{Clock, DataClock, WallClock};
use rimeline_ingest::{IngestConfig, IngestError, Parts, Receiver};
use rimeline_journal::{Journal, LocalJournal, Options, Position};
use rimeline_wire::pb;
use rimeline_wire::record::{Body, Record};
use tokio_util::sync::CancellationToken;

struct Rig {
    journal: Arc<LocalJournal>,
    receiver: Arc<Receiver>,
}

fn open(folder: &Path, clock: impl Clock) -> Rig {
    let options = Options {
        segment_bytes: 1 << 20,
        max_record_bytes: 64 << 10,
        commit_bytes: 64 << 10,
        ..Options::default()
    };
    let journal = Arc::new(LocalJournal::open(folder, options).unwrap());
    let parts =
        Parts { journal: journal.clone(), clock: Arc::new(clock), shutdown: CancellationToken::new() };
    let config = IngestConfig { max_gap: 4, ..IngestConfig::default() };
    Rig { journal, receiver: Arc::new(Receiver::open(config, parts).unwrap()) }
}

fn hello(epoch: u64) -> pb::Hello {
    pb::Hello { gateway: "gate-1".into(), epoch, ..pb::Hello::default() }
}

fn batch(sequence: u64, time: i64) -> pb::Batch {
    pb::Batch {
        sequence,
        units: vec!["U1".into()],
        base_time_ms: time,
        time_delta_ms: vec![0],
        channels: vec![Channel::Coil.number()],
        deltas: vec![sequence as i32],
        ..pb::Batch::default()
    }
}

/// Every (sequence, rows) that is on disk.
fn stored(journal: &LocalJournal) -> Vec<(u64, usize)> {
    let mut stored = Vec::new();
    let mut at = journal.start();
    loop {
        let entries = journal.read(at, 1 << 20).unwrap();
        let Some(last) = entries.last() else { return stored };
        at = last.next;
        for entry in entries {
            if let Some(Body::Readings(readings)) = Record::from_bytes(entry.record).unwrap().body {
                let batch = pb::Batch::decode(readings.batch).unwrap();
                stored.push((readings.sequence, batch.time_delta_ms.len()));
            }
        }
    }
}

#[tokio::test]
async fn what_is_acknowledged_is_in_the_journal_and_a_repeat_is_a_duplicate_also_after_a_restart() {
    let folder = tempfile::tempdir().unwrap();
    let now = WallClock::default().now_ms();
    let rig = open(folder.path(), WallClock::default());
    let (sender, welcome) = rig.receiver.greet(&hello(1)).unwrap();
    assert_eq!(welcome.acknowledged_through, 0);
    for sequence in 1..=3 {
        let receipt = rig.receiver.receive(&sender, batch(sequence, now)).await.unwrap();
        assert_eq!(
            (receipt.acknowledged_through, receipt.duplicate, receipt.accepted_rows),
            (sequence, false, 1)
        );
    }
    assert!(rig.receiver.receive(&sender, batch(2, now)).await.unwrap().duplicate);
    assert_eq!(stored(&rig.journal), [(1, 1), (2, 1), (3, 1)]);
    rig.journal.close().await.unwrap();
    drop(rig);

    let rig = open(folder.path(), WallClock::default());
    let (sender, welcome) = rig.receiver.greet(&hello(1)).unwrap();
    assert_eq!(welcome.acknowledged_through, 3);
    assert!(rig.receiver.receive(&sender, batch(3, now)).await.unwrap().duplicate);
    assert_eq!(stored(&rig.journal).len(), 3);
}

#[tokio::test]
async fn one_batch_sent_by_many_at_once_is_stored_once() {
    let folder = tempfile::tempdir().unwrap();
    let now = WallClock::default().now_ms();
    let rig = open(folder.path(), WallClock::default());
    let (sender, _) = rig.receiver.greet(&hello(1)).unwrap();
    let tasks: Vec<_> = (0..20)
        .map(|_| {
            let (receiver, sender) = (Arc::clone(&rig.receiver), sender.clone());
            tokio::spawn(async move { receiver.receive(&sender, batch(1, now)).await.unwrap().duplicate })
        })
        .collect();
    let mut first = 0;
    for task in tasks {
        first += usize::from(!task.await.unwrap());
    }
    assert_eq!(first, 1);
    assert_eq!(stored(&rig.journal), [(1, 1)]);
}

#[tokio::test]
async fn a_gateway_that_hangs_up_and_sends_again_is_stored_once() {
    let folder = tempfile::tempdir().unwrap();
    let now = WallClock::default().now_ms();
    let rig = open(folder.path(), WallClock::default());
    let (sender, _) = rig.receiver.greet(&hello(1)).unwrap();
    for sequence in 1..=50 {
        // Polled once, so that it is on its way, then dropped as when a connection is cut.
        let sending = rig.receiver.receive(&sender, batch(sequence, now));
        let _ = tokio::time::timeout(std::time::Duration::ZERO, sending).await;
        rig.receiver.receive(&sender, batch(sequence, now)).await.unwrap();
    }
    let expected: Vec<_> = (1..=50).map(|sequence| (sequence, 1)).collect();
    assert_eq!(stored(&rig.journal), expected);
}

#[tokio::test]
async fn old_rows_are_late_and_rows_of_a_broken_clock_are_refused_with_their_field() {
    let folder = tempfile::tempdir().unwrap();
    let now = WallClock::default().now_ms();
    let rig = open(folder.path(), WallClock::default());
    let (sender, _) = rig.receiver.greet(&hello(1)).unwrap();
    let receipt = rig.receiver.receive(&sender, batch(1, now - 25 * HOUR_MS)).await.unwrap();
    assert_eq!((receipt.accepted_rows, receipt.late_rows), (1, 1));
    for (sequence, time) in [(2, 0), (3, now + HOUR_MS), (4, 4_102_444_800_000)] {
        let receipt = rig.receiver.receive(&sender, batch(sequence, time)).await.unwrap();
        assert_eq!((receipt.accepted_rows, receipt.refusals.len()), (0, 1));
        assert_eq!(receipt.refusals[0].field, "time_delta_ms");
        assert_eq!(receipt.acknowledged_through, sequence, "bad data is never sent again");
    }
}

#[tokio::test]
async fn on_a_clock_that_follows_data_a_recording_is_news_and_the_clock_survives_a_restart() {
    let folder = tempfile::tempdir().unwrap();
    let start = 1_368_000_000_000;
    let rig = open(folder.path(), DataClock::default());
    let (sender, _) = rig.receiver.greet(&hello(1)).unwrap();
    for (sequence, hours) in [(1, 0), (2, 30), (3, 1)] {
        let receipt = rig.receiver.receive(&sender, batch(sequence, start + hours * HOUR_MS)).await.unwrap();
        assert_eq!(receipt.late_rows, u32::from(sequence == 3), "29 h behind the newest reading is late");
    }
    rig.journal.close().await.unwrap();
    drop(rig);
    let rig = open(folder.path(), DataClock::default());
    let (_, welcome) = rig.receiver.greet(&hello(1)).unwrap();
    assert_eq!(welcome.clock_ms, start + 30 * HOUR_MS);
}

#[tokio::test]
async fn what_breaks_the_protocol_is_an_error_that_names_the_field() {
    let folder = tempfile::tempdir().unwrap();
    let now = WallClock::default().now_ms();
    let rig = open(folder.path(), WallClock::default());
    let bad = rig.receiver.greet(&pb::Hello { gateway: "no id".into(), ..hello(1) }).unwrap_err();
    assert!(bad.to_string().contains("hello.gateway"), "{bad}");
    let (sender, _) = rig.receiver.greet(&hello(2)).unwrap();
    let old = rig.receiver.greet(&hello(1)).unwrap_err();
    assert!(matches!(old, IngestError::OldEpoch { given: 1, known: 2, .. }), "{old}");
    let gap = rig.receiver.receive(&sender, batch(6, now)).await.unwrap_err();
    assert!(matches!(gap, IngestError::Gap { sequence: 6, through: 0, max_gap: 4 }), "{gap}");
    assert!(rig.receiver.receive(&sender, batch(4, now)).await.is_ok());
    let zero = rig.receiver.receive(&sender, batch(0, now)).await.unwrap_err();
    assert!(zero.to_string().contains("batch.sequence"), "{zero}");
}

#[tokio::test]
async fn a_full_journal_asks_gateways_to_come_back_and_takes_batches_again_once_it_is_trimmed() {
    let folder = tempfile::tempdir().unwrap();
    let now = WallClock::default().now_ms();
    let options = Options {
        segment_bytes: 128 << 10,
        journal_bytes: 256 << 10,
        max_record_bytes: 64 << 10,
        commit_bytes: 64 << 10,
        ..Options::default()
    };
    let journal = Arc::new(LocalJournal::open(folder.path(), options).unwrap());
    let shutdown = CancellationToken::new();
    let parts =
        Parts { journal: journal.clone(), clock: Arc::new(WallClock::default()), shutdown: shutdown.clone() };
    let receiver = Arc::new(Receiver::open(IngestConfig::default(), parts).unwrap());
    let (sender, _) = receiver.greet(&hello(1)).unwrap();
    let big = |sequence| pb::Batch {
        time_delta_ms: vec![0; 5_000],
        deltas: (0..5_000_i32).map(|i| i.wrapping_mul(1_000_003)).collect(),
        ..batch(sequence, now)
    };
    let mut sequence = 1;
    let error = loop {
        match receiver.receive(&sender, big(sequence)).await {
            Ok(_) => sequence += 1,
            Err(error) => break error,
        }
        assert!(sequence < 1_000, "the limit is never reached");
    };
    let status = tonic::Status::from(error);
    assert_eq!(status.code(), tonic::Code::ResourceExhausted);
    assert!(tonic_types::StatusExt::get_details_retry_info(&status).is_some());
    assert!(!shutdown.is_cancelled(), "a full journal is no reason to stop");
    journal.trim(journal.end()).unwrap();
    assert!(receiver.receive(&sender, big(sequence)).await.is_ok());
    assert!(journal.start() > Position::START);
}

#[tokio::test]
async fn on_a_clock_that_follows_data_a_batch_of_many_days_is_not_late_against_itself() {
    let folder = tempfile::tempdir().unwrap();
    let rig = open(folder.path(), DataClock::default());
    let (sender, _) = rig.receiver.greet(&hello(1)).unwrap();
    let days = pb::Batch {
        time_delta_ms: vec![0, 48 * HOUR_MS, 48 * HOUR_MS],
        deltas: vec![1, 0, 0],
        ..batch(1, 1_368_000_000_000)
    };
    let receipt = rig.receiver.receive(&sender, days).await.unwrap();
    assert_eq!((receipt.accepted_rows, receipt.late_rows), (3, 0));
}
