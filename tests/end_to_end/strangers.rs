//! A client that knows nothing but the contract.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::print_stderr,
    clippy::doc_markdown,
    unreachable_pub
)]

mod support;

use std::time::Duration;

use support::{Service, python};

/// Python with grpcio, generated from `proto/`: describes a unit, streams readings, is acknowledged, goes on after its
/// connection is cut, follows the feed, and finds the services by reflection.
#[test]
fn a_python_gateway_is_served() {
    let Some(mut python) = python("the Python gateway") else { return };
    let service = Service::start("data");
    let output = python
        .arg("tests/foreign/gateway.py")
        .args(["--address", &service.address, "--unit", "PY-1"])
        .current_dir(support::repository())
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&output.stdout);
    assert!(output.status.success(), "{said}\n{}", String::from_utf8_lossy(&output.stderr));
    let unit = service.wait_for_readings("PY-1", 1);
    assert_eq!(unit["described"], true);
}

/// The feed goes on after a reconnect and after a restart of the server without a skip or a repeat; a foreign cursor is
/// answered as such, with a snapshot.
#[tokio::test(flavor = "multi_thread")]
async fn a_follower_resumes_after_a_restart_and_a_foreign_cursor_is_answered() {
    use rimeline_wire::pb;
    use rimeline_wire::pb::feed_service_client::FeedServiceClient;
    use rimeline_wire::pb::follow_cases_response::Item;

    let mut service = Service::start("data");
    let mut cursor: Option<pb::Cursor> = None;
    for round in 0..3 {
        open_sensor(&service, round);
        let mut feed = FeedServiceClient::connect(service.url()).await.unwrap();
        let request = pb::FollowCasesRequest { cursor, filter: None };
        let mut stream = feed.follow_cases(request).await.unwrap().into_inner();
        let mut heard = false;
        while !heard {
            let message = tokio::time::timeout(Duration::from_secs(30), stream.message()).await;
            match message.expect("the feed is silent").unwrap().unwrap().item.unwrap() {
                Item::Changed(changed) => {
                    if let (Some(before), Some(now)) = (cursor, changed.cursor) {
                        assert_eq!(now.epoch, before.epoch);
                        assert_eq!(now.sequence, before.sequence + 1, "a change was skipped or repeated");
                    }
                    cursor = changed.cursor.or(cursor);
                    let case = changed.case.unwrap();
                    heard = case.unit == format!("F-{round}")
                        && case.condition() == pb::Condition::SensorOutOfRange;
                }
                Item::SnapshotStart(start) => assert!(round == 0 && !start.cursor_out_of_range),
                Item::SnapshotEnd(end) => cursor = end.cursor,
                Item::Heartbeat(_) => {}
            }
        }
        if round == 0 {
            // The snapshot has no places of its own: go on from the first change after it.
            cursor = Some(last_cursor(&mut feed).await);
        }
        service.stop();
        service.start_again();
    }
    let mut feed = FeedServiceClient::connect(service.url()).await.unwrap();
    let foreign = Some(pb::Cursor { epoch: 1, sequence: 1 });
    let request = pb::FollowCasesRequest { cursor: foreign, filter: None };
    let mut stream = feed.follow_cases(request).await.unwrap().into_inner();
    match stream.message().await.unwrap().unwrap().item.unwrap() {
        Item::SnapshotStart(start) => assert!(start.cursor_out_of_range),
        other => panic!("{other:?}"),
    }
}

/// On a clock that follows the data a case that is shelved until a time of the recording is off the list until the
/// recording gets there, and what people wrote stays.
#[test]
fn a_shelved_case_comes_back_when_the_recording_reaches_its_time() {
    let service = Service::start("data");
    open_sensor(&service, 0);
    let listed = || -> Vec<String> {
        let cases = service.json(&["feed", "--json", "--unit", "F-0"]);
        let sensor = cases.iter().filter(|case| case["condition"] == "sensor_out_of_range");
        sensor.map(|case| case["case"].as_str().unwrap().to_owned()).collect()
    };
    let case = listed().pop().expect("the open circuit is a case");
    let until = "2025-10-09T12:00:00Z";
    service.ok(&["case", &case, "shelve", "--by", "Ana", "--until", until, "--text", "parked"]);
    assert!(listed().is_empty(), "shelved until {until}");
    // The first recording ends at 10:52, the second begins at 12:13.
    open_sensor(&service, 1);
    assert_eq!(listed(), std::slice::from_ref(&case));
    let said = service.ok(&["case", &case]);
    assert!(said.contains("Ana: shelve until 2025-10-09 12:00Z  parked"), "{said}");
    let refused = service.run(&["case", &case, "note", "--by", "Ana"]);
    assert!(String::from_utf8_lossy(&refused.stderr).contains("text"), "a note needs a text");
}

async fn last_cursor(
    feed: &mut rimeline_wire::pb::feed_service_client::FeedServiceClient<tonic::transport::Channel>,
) -> rimeline_wire::pb::Cursor {
    let request = rimeline_wire::pb::ListCasesRequest { filter: None };
    feed.list_cases(request).await.unwrap().into_inner().cursor.unwrap()
}

/// Pushes two hours of readings; in the second one a fitted sensor's circuit is open.
fn open_sensor(service: &Service, round: usize) {
    use std::fmt::Write;
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).display().to_string();
    let mapping = format!(
        "[unit]\nid = \"F-{round}\"\n[time]\ncolumn = \"at\"\nformat = \"unix_s\"\n\
         [[channels]]\nchannel = \"coil\"\ncolumn = \"coil\"\nunit = \"Cel\"\nfailed_open = [\"OPEN\"]\n\
         [state]\npower = \"on\"\n[unit_description]\ndepot = \"yard\"\nfitted = [\"coil\"]\n"
    );
    std::fs::write(path("mapping.toml"), mapping).unwrap();
    let mut text = String::from("at,coil\n");
    for minute in 0..120 {
        let value =
            if minute < 60 { format!("{}", -5.0 + f64::from(minute % 7) / 10.0) } else { "OPEN".into() };
        writeln!(text, "{},{value}", 1_760_000_000 + 60 * (minute + 200 * round as i32)).unwrap();
    }
    std::fs::write(path("readings.csv"), text).unwrap();
    service.ok(&["push", "--mapping", &path("mapping.toml"), &path("readings.csv")]);
    service.wait_for_readings(&format!("F-{round}"), 120);
}
