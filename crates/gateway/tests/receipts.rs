//! What the server says about a batch reaches the one who sent it.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod common;

use common::peer::{Behaviour, Fault, Peer};
use common::{Ear, batch, clock, config, heavy_batch, spool};
use rimeline_gateway::{Gateway, Notice, Receipt, Refusal, RefusalReason, RefusedItem};
use rimeline_wire::pb::Limits;

fn receipts(ear: &Ear) -> Vec<Receipt> {
    let receipt = |notice| match notice {
        Notice::Receipt(receipt) => Some(receipt),
        _ => None,
    };
    ear.heard().into_iter().filter_map(receipt).collect()
}

#[tokio::test]
async fn refusals_come_with_the_sequence_of_their_batch_and_are_counted_by_reason() {
    let refusal = |reason: RefusalReason, count| Refusal {
        item: RefusedItem::Row.into(),
        count,
        reason: reason.into(),
        field: "time_delta_ms".into(),
        message: "this clock is wrong".into(),
        ..Refusal::default()
    };
    let refusals = vec![refusal(RefusalReason::TimeInFuture, 3), refusal(RefusalReason::TimeTooOld, 1)];
    let peer =
        Peer::start(Behaviour { refusals: refusals.clone(), late_rows: 2, ..Behaviour::default() }).await;
    let ear = Ear::default();
    let gateway =
        Gateway::connect_with(config(&peer.wire.endpoint()), clock(), ear.observer()).await.unwrap();
    for number in 1..=2 {
        gateway.send(&batch(number)).await.unwrap();
    }
    let totals = gateway.finish().await.unwrap();
    assert_eq!(totals.refusals[&RefusalReason::TimeInFuture], 6);
    assert_eq!(totals.refusals[&RefusalReason::TimeTooOld], 2);
    assert_eq!(totals.late, 4);
    let heard: Vec<_> =
        receipts(&ear).into_iter().map(|receipt| (receipt.sequence, receipt.refusals)).collect();
    assert_eq!(heard, [(1, refusals.clone()), (2, refusals)]);
}

/// The server stored it, the gateway never heard: the second sending is told to be a duplicate, or not needed at all.
#[tokio::test]
async fn a_batch_whose_receipt_was_lost_is_acknowledged_and_stored_once() {
    let peer = Peer::with(&[Fault::BreakAfter]).await;
    let ear = Ear::default();
    let gateway =
        Gateway::connect_with(config(&peer.wire.endpoint()), clock(), ear.observer()).await.unwrap();
    gateway.send(&batch(1)).await.unwrap();
    let totals = gateway.finish().await.unwrap();
    assert_eq!((totals.sent, totals.acknowledged, totals.connections), (1, 1, 2));
    assert_eq!(peer.stored(), [(1, vec![1])]);
    assert!(receipts(&ear).is_empty());
}

/// A batch that this server would break the stream over must not stop those behind it.
#[tokio::test]
async fn a_batch_from_the_spool_that_is_too_large_for_the_server_is_refused_by_name_and_the_rest_goes_on() {
    let dir = tempfile::tempdir().unwrap();
    let mut config = config("http://127.0.0.1:9");
    config.spool = Some(spool(&dir, 1 << 20));
    let offline = Gateway::connect(config.clone(), clock()).await.unwrap();
    for (number, bytes) in [(1, 10), (2, 5_000), (3, 10)] {
        offline.send(&heavy_batch(number, bytes)).await.unwrap();
    }
    offline.close().await.unwrap();

    let limits = Limits { max_message_bytes: 2_000, ..Limits::default() };
    let peer = Peer::start(Behaviour {
        limits: Some(limits),
        max_message_bytes: Some(2_000),
        ..Behaviour::default()
    })
    .await;
    config.endpoint = peer.wire.endpoint();
    let ear = Ear::default();
    let gateway = Gateway::connect_with(config, clock(), ear.observer()).await.unwrap();
    let totals = gateway.finish().await.unwrap();
    assert_eq!(totals.refusals[&RefusalReason::TooLarge], 1);
    let refused: Vec<_> = receipts(&ear).into_iter().filter(|receipt| !receipt.refusals.is_empty()).collect();
    assert_eq!((refused.len(), refused[0].sequence), (1, 2));
    assert!(refused[0].refusals[0].message.contains("lower batch.bytes"), "{refused:?}");
    let stored: Vec<_> = peer.stored();
    assert_eq!(stored, [(1, vec![1]), (2, vec![]), (3, vec![3])]);
}
