//! Bad input of every kind gets a clear message, and nothing else in the batch is lost.
#![allow(
    clippy::too_many_lines,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::print_stderr,
    clippy::doc_markdown,
    unreachable_pub
)]

mod support;

use rimeline_wire::pb;
use rimeline_wire::pb::ingest_service_client::IngestServiceClient;
use rimeline_wire::pb::registry_service_client::RegistryServiceClient;
use rimeline_wire::pb::{Refusal, RefusalReason};
use support::Service;
use tonic::Code;

fn hello() -> pb::Hello {
    pb::Hello { gateway: "stranger".into(), epoch: 1, ..pb::Hello::default() }
}

/// Three good readings of unit A.
fn good(sequence: u64, time: i64) -> pb::Batch {
    pb::Batch {
        sequence,
        units: vec!["A".into()],
        base_time_ms: time,
        time_delta_ms: vec![0, 60_000, 60_000],
        channels: vec![pb::Channel::ReturnAirControl.into(), pb::Channel::Coil.into()],
        deltas: vec![20, 1, 1, -50, 0, 0],
        ..pb::Batch::default()
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn each_bad_thing_in_a_batch_is_named_with_its_field_and_costs_only_itself() {
    let service = Service::start("data");
    let mut ingest = IngestServiceClient::connect(service.url()).await.unwrap();
    let time = 1_750_000_000_000;
    let cases: Vec<(&str, pb::Batch, u32, RefusalReason)> = vec![
        (
            "wrong unit id",
            {
                let mut batch = good(1, time);
                batch.units.push("no such/id".into());
                batch.unit_index = vec![0, 1, 0];
                batch
            },
            2,
            RefusalReason::BadUnitId,
        ),
        (
            "unknown channel",
            {
                let mut batch = good(2, time + 1_000);
                batch.channels[1] = 4_711;
                batch
            },
            3,
            RefusalReason::UnknownChannel,
        ),
        (
            "time in 1970",
            {
                let mut batch = good(3, time + 2_000);
                batch.time_delta_ms = vec![0, -(time + 2_000), time + 2_000];
                batch
            },
            2,
            RefusalReason::TimeTooOld,
        ),
        (
            "time in 2100",
            {
                let mut batch = good(4, time + 3_000);
                batch.time_delta_ms = vec![0, 4_102_444_800_000 - time, time - 4_102_444_800_000];
                batch
            },
            2,
            RefusalReason::TimeInFuture,
        ),
        (
            "unknown enumeration",
            {
                let mut batch = good(5, time + 4_000);
                batch.states = vec![pb::State { stage: 99, ..pb::State::default() }];
                batch
            },
            3,
            RefusalReason::UnknownState,
        ),
        (
            "a value that no 32 bits hold",
            {
                let mut batch = good(6, time + 5_000);
                batch.deltas = vec![i32::MAX, 1, -1, 0, 0, 0];
                batch
            },
            3,
            RefusalReason::ValueOutOfStorageRange,
        ),
        (
            "too many rows",
            {
                let mut batch = good(7, time + 6_000);
                batch.time_delta_ms = vec![0; 10_001];
                batch.deltas = vec![0; 20_002];
                batch
            },
            0,
            RefusalReason::TooLarge,
        ),
        (
            "lengths that do not fit",
            {
                let mut batch = good(8, time + 7_000);
                batch.deltas.pop();
                batch
            },
            0,
            RefusalReason::BadLength,
        ),
    ];
    let mut stored = 0;
    for (what, batch, accepted, reason) in cases {
        let request = pb::SendReadingsRequest { hello: Some(hello()), batch: Some(batch.clone()) };
        let receipt = ingest.send_readings(request).await.unwrap().into_inner().receipt.unwrap();
        let reasons: Vec<_> = receipt.refusals.iter().map(Refusal::reason).collect();
        assert_eq!((receipt.accepted_rows, reasons), (accepted, vec![reason]), "{what}");
        let refusal = &receipt.refusals[0];
        assert!(!refusal.field.is_empty() && refusal.message.len() > 20, "{what}: {refusal:?}");
        assert_eq!(
            receipt.acknowledged_through, batch.sequence,
            "{what}: bad data must not come back for ever"
        );
        stored += u64::from(accepted);
    }
    let unit = service.wait_for_readings("A", stored);
    assert_eq!(unit["described"], false, "an unknown unit is accepted and listed as not yet described");
    let said = service.ok(&["unit", "A"]);
    assert!(said.contains("not yet described"), "{said}");
}

#[tokio::test(flavor = "multi_thread")]
async fn what_breaks_the_protocol_is_a_status_that_names_the_field_and_the_server_goes_on() {
    let service = Service::start("wall");
    let mut ingest =
        IngestServiceClient::connect(service.url()).await.unwrap().max_encoding_message_size(64 << 20);
    let mut send = async |hello: Option<pb::Hello>, batch: Option<pb::Batch>| {
        ingest.send_readings(pb::SendReadingsRequest { hello, batch }).await.unwrap_err()
    };
    let missing = send(None, Some(good(1, 0))).await;
    assert_eq!(
        (missing.code(), missing.message()),
        (Code::InvalidArgument, "both hello and batch are needed")
    );
    let nameless = send(Some(pb::Hello::default()), Some(good(1, 0))).await;
    assert!(nameless.message().contains("hello.gateway"), "{nameless}");
    let huge = pb::Batch { deltas: vec![i32::MIN; 2 << 20], ..good(1, 0) };
    let huge = send(Some(hello()), Some(huge)).await;
    assert_eq!(huge.code(), Code::OutOfRange, "{huge}");

    let mut registry = RegistryServiceClient::connect(service.url()).await.unwrap();
    let unit = pb::UnitDescription {
        unit: "A".into(),
        altitude_m: Some(f64::NAN),
        ..pb::UnitDescription::default()
    };
    let nan = registry.describe_unit(pb::DescribeUnitRequest { unit: Some(unit) }).await.unwrap_err();
    assert_eq!(nan.code(), Code::InvalidArgument);
    assert!(nan.message().contains("altitude_m"), "{nan}");
    assert!(registry.list_channels(pb::ListChannelsRequest {}).await.is_ok());
}

/// A message cut short on the wire is answered with a status, not with silence or a crash.
#[tokio::test(flavor = "multi_thread")]
async fn a_truncated_message_is_answered() {
    use std::io::{Read, Write};
    let service = Service::start("wall");
    let mut stream = std::net::TcpStream::connect(&service.address).unwrap();
    // HTTP/2 preface and an empty SETTINGS frame, then a HEADERS frame that promises more than it holds.
    stream.write_all(b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n\x00\x00\x00\x04\x00\x00\x00\x00\x00").unwrap();
    stream.write_all(b"\x00\x00\x05\x01\x04\x00\x00\x00\x01\xff\xff\xff\xff\xff").unwrap();
    let mut answer = Vec::new();
    stream.set_read_timeout(Some(std::time::Duration::from_secs(20))).unwrap();
    stream.read_to_end(&mut answer).unwrap();
    assert!(!answer.is_empty(), "the server hung up without a word");
    let mut registry = RegistryServiceClient::connect(service.url()).await.unwrap();
    assert!(registry.list_channels(pb::ListChannelsRequest {}).await.is_ok());
}

#[test]
fn a_csv_with_a_missing_column_is_named_and_the_other_files_are_pushed() {
    let service = Service::start("data");
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).display().to_string();
    std::fs::write(
        path("mapping.toml"),
        "[unit]\nid = \"B\"\n[time]\ncolumn = \"at\"\nformat = \"rfc3339\"\n\
         [[channels]]\nchannel = \"coil\"\ncolumn = \"coil\"\nunit = \"Cel\"\n",
    )
    .unwrap();
    std::fs::write(path("bad.csv"), "at,koil\n2026-01-01T00:00:00Z,1\n").unwrap();
    std::fs::write(path("good.csv"), "at,coil\n2026-01-01T00:00:00Z,1\n2026-01-01T00:01:00Z,nan\n").unwrap();
    let output =
        service.run(&["push", "--mapping", &path("mapping.toml"), &path("bad.csv"), &path("good.csv")]);
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(!output.status.success(), "half a push is no success");
    assert!(said.contains("coil") && said.contains("koil") && said.contains("bad.csv"), "{said}");
    assert!(said.contains("good.csv") && said.contains("nan"), "{said}");
    service.wait_for_readings("B", 2);
}
