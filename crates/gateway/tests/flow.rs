//! How much is under way, how much is kept, and when it goes.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod common;

use std::time::{Duration, Instant};

use common::peer::{Behaviour, Fault, Peer};
use common::{Ear, batch, clock, config, connect, heavy_batch, id, reading, until};
use rimeline_channels::EventKind;
use rimeline_gateway::{Gateway, Notice, send_once};

#[tokio::test]
async fn as_many_batches_as_the_window_are_under_way_and_never_more() {
    let peer = Peer::with(&[]).await;
    peer.answer(false);
    let mut config = config(&peer.wire.endpoint());
    config.window = 5;
    let gateway = connect(config).await;
    for number in 1..=20 {
        gateway.send(&batch(number)).await.unwrap();
    }
    until("a full window", || peer.log().arrived == 5).await;
    tokio::time::sleep(Duration::from_millis(100)).await;
    assert_eq!(peer.log().arrived, 5);
    peer.answer(true);
    let totals = gateway.finish().await.unwrap();
    assert_eq!((totals.acknowledged, totals.rows, totals.connections), (20, 20, 1));
    assert_eq!(peer.log().most_under_way, 5);
}

#[tokio::test]
async fn who_sends_more_than_memory_holds_waits_until_some_is_acknowledged() {
    let peer = Peer::with(&[]).await;
    peer.answer(false);
    let mut config = config(&peer.wire.endpoint());
    config.memory_bytes = 4_000;
    let gateway = connect(config).await;
    for number in 1..=3 {
        gateway.send(&heavy_batch(number, 1_000)).await.unwrap();
    }
    let fourth = heavy_batch(4, 1_000);
    let waits = tokio::time::timeout(Duration::from_millis(100), gateway.send(&fourth)).await;
    assert!(waits.is_err(), "it did not wait");
    peer.answer(true);
    // The one that gave up waiting was not taken, so the number is free.
    assert_eq!(gateway.send(&fourth).await.unwrap(), 4);
    assert_eq!(gateway.finish().await.unwrap().acknowledged, 4);
    assert_eq!(peer.log().stored.len(), 4);
}

#[tokio::test]
async fn one_batch_larger_than_all_of_memory_goes_alone() {
    let peer = Peer::with(&[]).await;
    let mut config = config(&peer.wire.endpoint());
    config.memory_bytes = 1 << 10;
    let gateway = connect(config).await;
    gateway.send(&heavy_batch(1, 5_000)).await.unwrap();
    gateway.send(&batch(2)).await.unwrap();
    assert_eq!(gateway.finish().await.unwrap().acknowledged, 2);
}

#[tokio::test]
async fn readings_pushed_go_in_full_batches_and_the_rest_when_it_is_old_enough() {
    let peer = Peer::with(&[]).await;
    let mut config = config(&peer.wire.endpoint());
    config.batch.rows = 4;
    config.batch.age = Duration::from_millis(150);
    let gateway = connect(config).await;
    let began = Instant::now();
    for number in 1..=10 {
        let unit = id(["U-1", "U-2"][number as usize % 2]);
        gateway.push(&unit, &reading(number)).await.unwrap();
    }
    gateway.push_event(&id("U-1"), 5, EventKind::SetPointChanged(-200)).await.unwrap();
    until("the third batch", || peer.log().stored.len() == 3).await;
    assert!(began.elapsed() >= Duration::from_millis(150));
    let rows: Vec<_> =
        peer.log().stored.iter().map(|(_, b)| (b.time_delta_ms.len(), b.events.len())).collect();
    assert_eq!(rows, [(4, 0), (4, 0), (2, 1)]);
    assert_eq!(gateway.finish().await.unwrap().rows, 10);
}

/// A caller may give up waiting at any moment, e.g. in a `select!`.
#[tokio::test]
async fn a_push_that_was_given_up_doubles_nothing_and_one_that_returned_is_never_lost() {
    let peer = Peer::with(&[]).await;
    peer.answer(false);
    let mut config = config(&peer.wire.endpoint());
    config.memory_bytes = 1 << 10;
    config.batch.rows = 2;
    let gateway = connect(config).await;
    let mut taken = Vec::new();
    let mut given_up = 0;
    for number in 1..=100 {
        if number == 90 {
            peer.answer(true);
        }
        let patience = Duration::from_millis(if number < 90 { 3 } else { 5_000 });
        match tokio::time::timeout(patience, gateway.push(&id("U-1"), &reading(number))).await {
            Ok(pushed) => {
                pushed.unwrap();
                taken.push(1_700_000_000_000 + number);
            }
            Err(_) => given_up += 1,
        }
    }
    gateway.finish().await.unwrap();
    assert!(given_up > 20 && taken.len() > 20, "{given_up} given up, {} taken", taken.len());
    let log = peer.log();
    let batches = log.stored.iter().map(|(_, batch)| rimeline_wire::batch::read_stored(batch));
    let stored: Vec<i64> = batches.flat_map(|batch| batch.times).collect();
    assert!(stored.is_sorted_by(|a, b| a < b), "doubled or out of order: {stored:?}");
    let lost: Vec<_> = taken.iter().filter(|time| !stored.contains(time)).collect();
    assert!(lost.is_empty(), "{lost:?}");
}

#[tokio::test]
async fn what_is_being_collected_when_a_gateway_finishes_is_sent() {
    let peer = Peer::with(&[]).await;
    let gateway = connect(config(&peer.wire.endpoint())).await;
    gateway.push(&id("U-1"), &reading(1)).await.unwrap();
    assert_eq!(gateway.finish().await.unwrap().rows, 1);
}

#[tokio::test]
async fn nothing_to_send_is_finished_at_once_even_without_a_server() {
    let gateway = connect(config("http://127.0.0.1:9")).await;
    assert_eq!(gateway.finish().await.unwrap().sent, 0);
}

#[tokio::test]
async fn a_batch_beyond_the_servers_limits_is_cut_to_size() {
    let limits = rimeline_wire::pb::Limits { max_rows_per_batch: 3, ..Default::default() };
    let peer = Peer::start(Behaviour { limits: Some(limits), ..Behaviour::default() }).await;
    let gateway = connect(config(&peer.wire.endpoint())).await;
    gateway.reached(common::PATIENCE).await.unwrap();
    let mut whole = batch(1);
    for number in 2..=10 {
        whole.push(0, &reading(number));
    }
    assert_eq!(gateway.send(&whole).await.unwrap(), 4);
    assert_eq!(gateway.finish().await.unwrap().rows, 10);
    assert!(peer.log().stored.iter().all(|(_, batch)| batch.time_delta_ms.len() <= 3));
}

#[tokio::test]
async fn the_clocks_are_compared_at_each_connection() {
    let peer = Peer::start(Behaviour {
        clock_offset_ms: 90_000,
        faults: vec![Fault::BreakAfter],
        ..Behaviour::default()
    })
    .await;
    let ear = Ear::default();
    let gateway =
        Gateway::connect_with(config(&peer.wire.endpoint()), clock(), ear.observer()).await.unwrap();
    gateway.reached(common::PATIENCE).await.unwrap();
    let clock = gateway.clock_offset().unwrap();
    assert!((clock.offset_ms - 90_000).abs() <= clock.uncertainty_ms + 1, "{clock:?}");
    assert!(clock.uncertainty_ms < 1_000, "{clock:?}");
    gateway.send(&batch(1)).await.unwrap();
    gateway.finish().await.unwrap();
    let compared = ear.heard().into_iter().filter(|n| matches!(n, Notice::Connected { clock: Some(_), .. }));
    assert_eq!(compared.count(), 2);
    assert!(peer.log().hellos.iter().all(|(hello, _)| hello.clock_ms > 1_700_000_000_000));
}

#[tokio::test]
async fn one_call_sends_one_batch_and_the_same_call_again_stores_nothing() {
    let peer = Peer::with(&[]).await;
    let config = config(&peer.wire.endpoint());
    let first = send_once(&config, &*clock(), 9, 1, &batch(5)).await.unwrap();
    let again = send_once(&config, &*clock(), 9, 1, &batch(5)).await.unwrap();
    assert_eq!((first.duplicate, first.accepted_rows, again.duplicate), (false, 1, true));
    assert_eq!(peer.stored(), [(1, vec![5])]);
    let hello = peer.log().hellos[0].0.clone();
    assert_eq!((hello.gateway.as_str(), hello.epoch), (common::GATEWAY, 9));
}
