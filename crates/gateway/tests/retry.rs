//! What can be cured by trying again is tried again, at the right time; what cannot be is said in plain words.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod common;

use std::time::{Duration, Instant};

use common::peer::{Behaviour, Fault, Peer};
use common::{Ear, PATIENCE, batch, clock, config, connect, spool};
use rimeline_gateway::{Gateway, GatewayError, Notice, send_once};
use tonic::Code;

#[tokio::test]
async fn a_wait_the_server_asks_for_is_waited_though_the_own_would_be_shorter() {
    let peer = Peer::with(&[Fault::Exhausted(300), Fault::Exhausted(300)]).await;
    let gateway = connect(config(&peer.wire.endpoint())).await;
    gateway.send(&batch(1)).await.unwrap();
    gateway.finish().await.unwrap();
    let log = peer.log();
    assert_eq!((log.refused.len(), log.hellos.len(), log.stored.len()), (2, 3, 1));
    for ((refused, wait), (_, hello)) in log.refused.iter().zip(&log.hellos[1..]) {
        assert!(hello.duration_since(*refused) >= *wait, "came back too early");
    }
}

#[tokio::test]
async fn a_wait_the_server_asks_for_is_waited_though_the_own_would_be_longer() {
    let peer = Peer::with(&[Fault::Exhausted(5)]).await;
    let mut config = config(&peer.wire.endpoint());
    config.backoff.first = Duration::from_secs(3600);
    config.backoff.most = Duration::from_secs(3600);
    let gateway = connect(config).await;
    gateway.send(&batch(1)).await.unwrap();
    let totals = tokio::time::timeout(PATIENCE, gateway.finish()).await.unwrap().unwrap();
    assert_eq!(totals.acknowledged, 1);
}

#[tokio::test]
async fn a_server_that_comes_late_is_found_and_until_then_the_trouble_is_named() {
    let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let nobody = listener.local_addr().unwrap();
    drop(listener);
    let ear = Ear::default();
    let config = config(&format!("http://{nobody}"));
    let gateway = Gateway::connect_with(config, clock(), ear.observer()).await.unwrap();
    gateway.send(&batch(1)).await.unwrap();
    let error = gateway.reached(Duration::from_millis(300)).await.unwrap_err();
    assert!(error.is_retryable());
    assert!(error.to_string().contains("onnection refused"), "{error}");
    assert!(error.to_string().contains(&nobody.to_string()), "{error}");
    let tries = ear.heard().into_iter().filter(|n| matches!(n, Notice::Disconnected { .. })).count();
    assert!((3..60).contains(&tries), "{tries} tries in 300 ms with waits of 2 to 80 ms");
    assert_eq!(gateway.close().await.unwrap().acknowledged, 0);
}

#[tokio::test]
async fn a_server_that_leaves_a_hello_unanswered_is_left_for_a_new_connection() {
    let peer = Peer::start(Behaviour { silent_streams: 2, ..Behaviour::default() }).await;
    let mut config = config(&peer.wire.endpoint());
    config.answer_within = Duration::from_millis(150);
    let gateway = connect(config).await;
    gateway.send(&batch(1)).await.unwrap();
    assert_eq!(gateway.finish().await.unwrap().acknowledged, 1);
    assert_eq!(peer.log().hellos.len(), 3);
}

#[tokio::test]
async fn a_server_that_leaves_a_batch_unanswered_is_left_for_a_new_connection() {
    let peer = Peer::with(&[Fault::Slow(400)]).await;
    let mut config = config(&peer.wire.endpoint());
    config.answer_within = Duration::from_millis(150);
    let gateway = connect(config).await;
    gateway.send(&batch(1)).await.unwrap();
    let totals = gateway.finish().await.unwrap();
    assert_eq!((totals.sent, totals.acknowledged), (1, 1));
    assert!(totals.connections > 1, "{totals:?}");
    assert_eq!(peer.stored(), [(1, vec![1])]);
}

#[tokio::test]
async fn a_refusal_for_good_ends_the_gateway_with_what_to_do_and_a_spool_keeps_all() {
    let cases = [
        (Code::InvalidArgument, "Correct what the server names"),
        (Code::PermissionDenied, "allowed to write"),
        (Code::Unauthenticated, "a credential the server knows"),
        (Code::FailedPrecondition, "a larger one"),
        (Code::Unimplemented, "a server of this contract"),
    ];
    for (code, advice) in cases {
        let peer = Peer::start(Behaviour { refuse: Some((code, "no")), ..Behaviour::default() }).await;
        let dir = tempfile::tempdir().unwrap();
        let mut config = config(&peer.wire.endpoint());
        config.spool = Some(spool(&dir, 1 << 20));
        let gateway = connect(config.clone()).await;
        gateway.send(&batch(1)).await.unwrap();
        let error = gateway.reached(PATIENCE).await.unwrap_err();
        assert!(matches!(&error, GatewayError::Refused { code: c, .. } if *c == code), "{error}");
        assert!(error.to_string().contains(advice), "{error}");
        assert!(!error.is_retryable());
        assert!(matches!(gateway.send(&batch(2)).await, Err(GatewayError::Refused { .. })));
        assert!(matches!(gateway.finish().await, Err(GatewayError::Refused { .. })));
        assert_eq!(peer.log().hellos.len(), 1, "{code:?} was tried again");

        let better = Peer::with(&[]).await;
        config.endpoint = better.wire.endpoint();
        connect(config).await.finish().await.unwrap();
        assert_eq!(better.stored(), [(1, vec![1])]);
    }
}

#[tokio::test]
async fn a_refusal_for_good_frees_those_who_wait_for_memory() {
    let peer =
        Peer::start(Behaviour { refuse: Some((Code::Unauthenticated, "no")), ..Behaviour::default() }).await;
    let mut config = config(&peer.wire.endpoint());
    config.memory_bytes = 1 << 10;
    let gateway = connect(config).await;
    let sending = async {
        loop {
            if let Err(error) = gateway.send(&batch(1)).await {
                return error;
            }
        }
    };
    let error = tokio::time::timeout(PATIENCE, sending).await.unwrap();
    assert!(matches!(error, GatewayError::Refused { code: Code::Unauthenticated, .. }), "{error}");
}

#[tokio::test]
async fn a_name_that_somebody_else_uses_is_noticed_before_anything_is_lost() {
    let peer = Peer::start(Behaviour { through: 3, ..Behaviour::default() }).await;
    let gateway = connect(config(&peer.wire.endpoint())).await;
    gateway.send(&batch(1)).await.unwrap();
    let error = gateway.finish().await.unwrap_err();
    assert!(matches!(error, GatewayError::EpochReused { held: 3, known: 0, .. }), "{error}");
    assert!(error.to_string().contains("a larger epoch"), "{error}");
    assert_eq!(peer.log().arrived, 0);
}

#[tokio::test]
async fn one_call_says_whether_to_call_again() {
    let config = config("http://127.0.0.1:9");
    let error = send_once(&config, &*clock(), 7, 1, &batch(1)).await.unwrap_err();
    assert!(error.is_retryable(), "{error}");
    let peer =
        Peer::start(Behaviour { refuse: Some((Code::InvalidArgument, "no")), ..Behaviour::default() }).await;
    let config = common::config(&peer.wire.endpoint());
    let error = send_once(&config, &*clock(), 7, 1, &batch(1)).await.unwrap_err();
    assert!(!error.is_retryable(), "{error}");
}

#[tokio::test]
async fn settings_that_cannot_work_are_named() {
    type Change = fn(&mut rimeline_gateway::Config);
    let cases: [(&str, Change); 11] = [
        ("endpoint", |c| c.endpoint = "no address".into()),
        ("epoch", |c| c.epoch = Some(0)),
        ("repeatable", |c| (c.repeatable, c.epoch) = (true, None)),
        ("memory_bytes", |c| c.memory_bytes = 1_023),
        ("batch.rows", |c| c.batch.rows = 0),
        ("batch.units", |c| c.batch.units = 0),
        ("batch.bytes", |c| c.batch.bytes = 1_023),
        ("window", |c| c.window = 0),
        ("backoff.first", |c| c.backoff.first = Duration::ZERO),
        ("backoff.most", |c| c.backoff.most = Duration::from_nanos(1)),
        ("answer_within", |c| c.answer_within = Duration::ZERO),
    ];
    for (name, change) in cases {
        let mut config = config("http://127.0.0.1:9");
        change(&mut config);
        let error = Gateway::connect(config, clock()).await.err().unwrap();
        assert!(matches!(&error, GatewayError::Config { field, .. } if *field == name), "{name}: {error}");
    }
    let began = Instant::now();
    let dir = tempfile::tempdir().unwrap();
    let mut config = config("http://127.0.0.1:9");
    config.spool = Some(spool(&dir, (64 << 10) - 1));
    assert!(Gateway::connect(config, clock()).await.is_err());
    assert!(began.elapsed() < PATIENCE);
}
