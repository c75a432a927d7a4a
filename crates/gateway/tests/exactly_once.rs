//! Whatever is cut in between, the server holds every batch once, in order.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod common;

use common::peer::{Fault, Peer};
use common::{PATIENCE, batch, config, connect, spool};
use proptest::prelude::*;
use rimeline_gateway::{Compression, Totals};

/// Sends batches of one reading each, and returns the totals.
async fn story(
    faults: &[Fault],
    batches: i64,
    window: usize,
    disk: bool,
    restart_after: i64,
) -> (Peer, Vec<Totals>) {
    let peer = Peer::with(faults).await;
    let dir = tempfile::tempdir().unwrap();
    let mut config = config(&peer.wire.endpoint());
    config.window = window;
    config.compression = [Compression::None, Compression::Gzip, Compression::Zstd][window % 3];
    if disk {
        config.spool = Some(spool(&dir, 1 << 20));
    }
    let mut gateway = connect(config.clone()).await;
    let mut totals = Vec::new();
    for number in 1..=batches {
        assert_eq!(gateway.send(&batch(number)).await.unwrap(), number as u64);
        if disk && number == restart_after {
            totals.push(gateway.close().await.unwrap());
            gateway = connect(config.clone()).await;
        }
    }
    let finished = tokio::time::timeout(PATIENCE, gateway.finish()).await;
    totals.push(finished.expect("it never finished").unwrap());
    (peer, totals)
}

fn check(peer: &Peer, totals: &[Totals], batches: i64) {
    let expected: Vec<_> = (1..=batches).map(|n| (n as u64, vec![n as i32])).collect();
    assert_eq!(peer.stored(), expected);
    assert_eq!(peer.log().breaches, Vec::<String>::new());
    assert_eq!(totals.iter().map(|totals| totals.dropped).sum::<u64>(), 0);
    if let [only] = totals {
        let (sent, acknowledged) = (only.sent, only.acknowledged);
        assert_eq!((sent, acknowledged), (batches as u64, batches as u64), "{only:?}");
    }
}

fn any_fault() -> impl Strategy<Value = Fault> {
    prop_oneof![
        3 => Just(Fault::None),
        1 => Just(Fault::BreakBefore),
        1 => Just(Fault::BreakAfter),
        1 => Just(Fault::Cut),
        1 => (0..8_u64).prop_map(Fault::Exhausted),
        1 => Just(Fault::Forget),
        1 => (1..8_u64).prop_map(Fault::Slow),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, max_shrink_iters: 200, ..ProptestConfig::default() })]

    #[test]
    fn any_sequence_of_cuts_leaves_every_batch_once_in_order(
        faults in prop::collection::vec(any_fault(), 0..24),
        batches in 1..30_i64,
        window in 1..9_usize,
        disk in any::<bool>(),
        restart_after in 0..40_i64,
    ) {
        let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build().unwrap();
        runtime.block_on(async {
            let (peer, totals) = story(&faults, batches, window, disk, restart_after).await;
            check(&peer, &totals, batches);
        });
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_wire_cut_at_random_bytes_while_sending_fast_costs_nothing() {
    let peer = Peer::with(&[]).await;
    let dir = tempfile::tempdir().unwrap();
    let mut config = config(&peer.wire.endpoint());
    config.spool = Some(spool(&dir, 8 << 20));
    let gateway = connect(config).await;
    let wire = peer.wire.clone();
    let cutting = tokio::spawn(async move {
        for pause in (0..40).map(|n| n * 7 % 23) {
            tokio::time::sleep(std::time::Duration::from_millis(pause)).await;
            wire.cut();
        }
    });
    for number in 1..=1_000 {
        gateway.send(&batch(number)).await.unwrap();
    }
    cutting.await.unwrap();
    let totals = tokio::time::timeout(PATIENCE, gateway.finish()).await.unwrap().unwrap();
    assert!(totals.connections > 1, "{totals:?}");
    check(&peer, &[totals], 1_000);
}

/// The same file pushed again, and a push that broke off half-way and is begun anew.
#[tokio::test]
async fn a_repeatable_source_is_stored_once_however_often_it_is_sent() {
    let peer = Peer::with(&[]).await;
    let mut config = config(&peer.wire.endpoint());
    config.repeatable = true;
    // Less than a fifth of the batches fits: what the server holds must not fill it.
    config.memory_bytes = 1 << 10;
    for (batches, there_already) in [(20, 0), (50, 20), (50, 50), (10, 10)] {
        let gateway = connect(config.clone()).await;
        let sending = async {
            for number in 1..=batches {
                assert_eq!(gateway.send(&batch(number)).await.unwrap(), number as u64);
            }
        };
        tokio::time::timeout(PATIENCE, sending).await.unwrap();
        let totals = tokio::time::timeout(PATIENCE, gateway.finish()).await.unwrap().unwrap();
        assert_eq!(totals.duplicate, there_already as u64, "{totals:?}");
        assert_eq!(totals.acknowledged, (batches - there_already) as u64);
    }
    let log = peer.log();
    assert_eq!((log.stored.len(), log.arrived), (50, 50));
    assert_eq!(log.breaches, Vec::<String>::new());
}
