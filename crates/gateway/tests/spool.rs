//! What a spool keeps, over restarts and when it is full.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod common;

use std::time::Duration;

use common::peer::{Behaviour, Peer};
use common::{Ear, batch, clock, config, connect, heavy_batch, id, reading, spool, until};
use rimeline_gateway::{Gateway, GatewayError, Notice};
use rimeline_journal::JournalError;

const NOBODY: &str = "http://127.0.0.1:9";

#[tokio::test]
async fn a_restart_goes_on_with_the_same_epoch_and_the_next_sequence() {
    let peer = Peer::with(&[]).await;
    let dir = tempfile::tempdir().unwrap();
    let mut offline = config(NOBODY);
    offline.spool = Some(spool(&dir, 1 << 20));
    let gateway = connect(offline.clone()).await;
    assert_eq!(gateway.epoch(), 7);
    for number in 1..=3 {
        assert_eq!(gateway.send(&batch(number)).await.unwrap(), number as u64);
    }
    // The last one is only being collected when the gateway is closed.
    gateway.push(&id("U-1"), &reading(4)).await.unwrap();
    gateway.close().await.unwrap();

    let mut online = offline;
    online.endpoint = peer.wire.endpoint();
    online.epoch = Some(99);
    let gateway = connect(online).await;
    assert_eq!(gateway.epoch(), 7, "the spool's epoch goes before the configured one");
    assert_eq!(gateway.send(&batch(5)).await.unwrap(), 5);
    gateway.finish().await.unwrap();
    let expected: Vec<_> = (1..=5_u64).map(|n| (n, vec![n as i32])).collect();
    assert_eq!(peer.stored(), expected);
}

#[tokio::test]
async fn a_gateway_that_is_only_dropped_has_kept_what_it_took() {
    let dir = tempfile::tempdir().unwrap();
    let mut config = config(NOBODY);
    config.spool = Some(spool(&dir, 1 << 20));
    let gateway = connect(config.clone()).await;
    for number in 1..=5 {
        gateway.send(&batch(number)).await.unwrap();
    }
    drop(gateway);
    let peer = Peer::with(&[]).await;
    config.endpoint = peer.wire.endpoint();
    // Its tasks end a moment after it.
    let mut again = Gateway::connect(config.clone(), clock()).await;
    while matches!(again, Err(GatewayError::Spool(JournalError::Locked { .. }))) {
        tokio::time::sleep(Duration::from_millis(5)).await;
        again = Gateway::connect(config.clone(), clock()).await;
    }
    assert_eq!(again.unwrap().finish().await.unwrap().acknowledged, 5);
    assert_eq!(peer.log().stored.len(), 5);
}

#[tokio::test]
async fn a_restart_after_everything_was_acknowledged_does_not_begin_again_from_one() {
    let peer = Peer::with(&[]).await;
    let dir = tempfile::tempdir().unwrap();
    let mut config = config(&peer.wire.endpoint());
    config.spool = Some(spool(&dir, 64 << 10));
    for run in 0..3 {
        let gateway = connect(config.clone()).await;
        gateway.reached(common::PATIENCE).await.unwrap();
        for number in 1..=100 {
            let sequence = gateway.send(&heavy_batch(number, 500)).await.unwrap();
            assert_eq!(sequence, (run * 100 + number) as u64);
        }
        let totals = gateway.finish().await.unwrap();
        assert_eq!(totals.acknowledged + totals.dropped, 100);
        assert_eq!(totals.duplicate, 0);
    }
    assert_eq!(peer.log().breaches, Vec::<String>::new());
}

#[tokio::test]
async fn a_lost_spool_begins_a_new_epoch_from_the_clock() {
    let peer = Peer::with(&[]).await;
    let mut config = config(&peer.wire.endpoint());
    config.epoch = None;
    let mut epochs = Vec::new();
    for number in 1..=2 {
        let dir = tempfile::tempdir().unwrap();
        config.spool = Some(spool(&dir, 1 << 20));
        let gateway = connect(config.clone()).await;
        epochs.push(gateway.epoch());
        assert_eq!(gateway.send(&batch(number)).await.unwrap(), 1);
        gateway.finish().await.unwrap();
        tokio::time::sleep(Duration::from_millis(2)).await;
    }
    assert!(1_700_000_000_000 < epochs[0] && epochs[0] < epochs[1], "{epochs:?}");
    assert_eq!(peer.stored(), [(1, vec![1]), (1, vec![2])]);
}

/// 64 KiB hold about 120 batches of half a KiB: of 400, the first must go.
#[tokio::test]
async fn a_full_spool_drops_its_oldest_counts_them_and_tells() {
    let dir = tempfile::tempdir().unwrap();
    let mut config = config(NOBODY);
    config.spool = Some(spool(&dir, 64 << 10));
    let ear = Ear::default();
    let gateway = Gateway::connect_with(config.clone(), clock(), ear.observer()).await.unwrap();
    for number in 1..=400 {
        gateway.send(&heavy_batch(number, 500)).await.unwrap();
    }
    let held: u64 =
        std::fs::read_dir(dir.path()).unwrap().map(|f| f.unwrap().metadata().unwrap().len()).sum();
    assert!(held <= (64 << 10) + (1 << 12), "{held} bytes on disk");
    let totals = gateway.close().await.unwrap();
    assert!((250..350).contains(&totals.dropped), "{totals:?}");
    let mut next = 1;
    for notice in ear.heard() {
        if let Notice::Dropped { first, last } = notice {
            assert!(first == next && last >= first, "{first} to {last} after {next}");
            next = last + 1;
        }
    }
    assert_eq!(next, totals.dropped + 1, "what was told is what was counted");

    let peer = Peer::with(&[]).await;
    config.endpoint = peer.wire.endpoint();
    let later = connect(config).await.finish().await.unwrap();
    assert_eq!(peer.log().hellos[0].0.oldest_sequence, next);
    let stored: Vec<_> = peer.stored().into_iter().map(|(sequence, _)| sequence).collect();
    assert_eq!(stored, (next..=400).collect::<Vec<_>>());
    assert_eq!((later.dropped, later.acknowledged), (0, 401 - next));
    assert_eq!(peer.log().breaches, Vec::<String>::new());
}

/// The server hears of the gap by a new Hello, and every batch is either stored or counted as dropped.
#[tokio::test(flavor = "multi_thread")]
async fn a_spool_that_overflows_while_the_server_is_slow_leaves_a_stated_gap() {
    let peer = Peer::with(&[]).await;
    peer.answer(false);
    let dir = tempfile::tempdir().unwrap();
    let mut config = config(&peer.wire.endpoint());
    config.spool = Some(spool(&dir, 64 << 10));
    config.window = 4;
    let gateway = connect(config).await;
    gateway.reached(common::PATIENCE).await.unwrap();
    for number in 1..=400 {
        gateway.send(&heavy_batch(number, 500)).await.unwrap();
    }
    assert!(gateway.totals().dropped > 200, "{:?}", gateway.totals());
    peer.answer(true);
    let totals = gateway.finish().await.unwrap();
    let stored = peer.log().stored.len() as u64;
    assert_eq!(totals.acknowledged, stored);
    assert_eq!(totals.acknowledged + totals.dropped, 400, "{totals:?}");
    assert!(peer.log().hellos.len() >= 2);
    assert_eq!(peer.log().breaches, Vec::<String>::new());
}

#[tokio::test]
async fn a_batch_of_an_eighth_of_the_spool_is_the_largest() {
    let dir = tempfile::tempdir().unwrap();
    let mut config = config(NOBODY);
    config.spool = Some(spool(&dir, 64 << 10));
    let gateway = connect(config).await;
    gateway.send(&heavy_batch(1, 7_000)).await.unwrap();
    let error = gateway.send(&heavy_batch(2, 8 << 10)).await.unwrap_err();
    assert!(matches!(error, GatewayError::TooLarge { .. }), "{error}");
    // Its reading and its event fitted each for themselves; nothing of it was taken.
    assert_eq!(gateway.send(&batch(3)).await.unwrap(), 2);
    gateway.close().await.unwrap();
}

#[tokio::test]
async fn a_spool_in_use_or_of_another_gateway_is_refused() {
    let dir = tempfile::tempdir().unwrap();
    let mut config = config(NOBODY);
    config.spool = Some(spool(&dir, 1 << 20));
    let gateway = connect(config.clone()).await;
    let second = Gateway::connect(config.clone(), clock()).await.err().unwrap();
    assert!(matches!(second, GatewayError::Spool(JournalError::Locked { .. })), "{second}");
    gateway.close().await.unwrap();
    config.gateway = id("G-2");
    let other = Gateway::connect(config, clock()).await.err().unwrap();
    assert!(matches!(other, GatewayError::Spool(JournalError::Foreign { .. })), "{other}");
}

#[tokio::test]
async fn a_server_that_lost_acknowledged_batches_gets_again_what_is_still_there() {
    let dir = tempfile::tempdir().unwrap();
    let first = Peer::with(&[]).await;
    let mut config = config(&first.wire.endpoint());
    config.spool = Some(spool(&dir, 1 << 20));
    let gateway = connect(config.clone()).await;
    for number in 1..=5 {
        gateway.send(&batch(number)).await.unwrap();
    }
    gateway.finish().await.unwrap();
    let restored = Peer::start(Behaviour { through: 2, ..Behaviour::default() }).await;
    config.endpoint = restored.wire.endpoint();
    let gateway = connect(config).await;
    gateway.send(&batch(6)).await.unwrap();
    gateway.finish().await.unwrap();
    let expected: Vec<_> = (3..=6_u64).map(|n| (n, vec![n as i32])).collect();
    assert_eq!(restored.stored(), expected);
}

#[tokio::test]
async fn a_server_restored_from_a_backup_while_the_gateway_runs_gets_again_what_is_still_there() {
    let dir = tempfile::tempdir().unwrap();
    let peer = Peer::with(&[]).await;
    let mut config = config(&peer.wire.endpoint());
    config.spool = Some(spool(&dir, 1 << 20));
    let gateway = connect(config).await;
    for number in 1..=5 {
        gateway.send(&batch(number)).await.unwrap();
    }
    until("five acknowledged", || gateway.totals().acknowledged == 5).await;
    peer.restore(2);
    peer.wire.cut();
    gateway.send(&batch(6)).await.unwrap();
    let totals = gateway.finish().await.unwrap();
    assert_eq!((totals.sent, totals.acknowledged, totals.dropped), (6, 6, 0));
    let expected: Vec<_> = (1..=6_u64).map(|n| (n, vec![n as i32])).collect();
    assert_eq!(peer.stored(), expected);
}

#[tokio::test]
async fn acknowledged_batches_leave_the_disk() {
    let peer = Peer::with(&[]).await;
    let dir = tempfile::tempdir().unwrap();
    let mut config = config(&peer.wire.endpoint());
    config.spool = Some(spool(&dir, 256 << 10));
    let gateway = connect(config).await;
    for number in 1..=300 {
        gateway.send(&heavy_batch(number, 2_000)).await.unwrap();
        until("an answer", || peer.log().stored.len() == number as usize).await;
    }
    assert_eq!(gateway.totals().dropped, 0, "600 KiB went through 256 KiB");
    let totals = gateway.finish().await.unwrap();
    assert_eq!((totals.acknowledged, totals.dropped), (300, 0));
    let held: u64 =
        std::fs::read_dir(dir.path()).unwrap().map(|f| f.unwrap().metadata().unwrap().len()).sum();
    assert!(held <= 3 * (32 << 10), "{held} bytes are still on disk");
}
