//! A server that is killed again and again in the middle of a push loses nothing and stores nothing twice.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::print_stderr,
    clippy::doc_markdown,
    unreachable_pub
)]

mod support;

use std::collections::BTreeMap;
use std::fmt::Write;
use std::process::Stdio;
use std::time::Duration;

use rimeline_archive::{Dataset, LocalStore, Snapshot};
use support::{Service, binary};

const ROWS: usize = 60_000;
const KILLS: usize = 8;
const START: i64 = 1_750_000_000;

const MAPPING: &str = r#"
[unit]
column = "unit"

[time]
column = "at"
format = "unix_s"

[batches]
rows = 40

[[channels]]
channel = "compressor_starts"
column = "number"
unit = "{count}"

[[channels]]
channel = "coil"
column = "coil"
unit = "Cel"

[state]
power = "on"
"#;

#[test]
fn kill_minus_nine_in_the_middle_of_a_push_loses_no_acknowledged_reading_and_doubles_none() {
    let folder = tempfile::tempdir().unwrap();
    let (mapping, readings) = (folder.path().join("mapping.toml"), folder.path().join("readings.csv"));
    std::fs::write(&mapping, MAPPING).unwrap();
    let mut text = String::from("unit,at,number,coil\n");
    for row in 0..ROWS {
        let (unit, minute) = (row % 20, (row / 20) as i64);
        writeln!(text, "K-{unit:02},{},{row},{:.1}", START + 60 * minute, (row % 700) as f64 / 10.0 - 30.0)
            .unwrap();
    }
    std::fs::write(&readings, text).unwrap();

    let mut service = Service::start("data");
    let mut push = binary()
        .arg("push")
        .arg("--mapping")
        .arg(&mapping)
        .arg(&readings)
        .env("RIMELINE_SERVER", service.url())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut killed_in_flight = 0;
    for kill in 0..KILLS {
        std::thread::sleep(Duration::from_millis(60 + 90 * kill as u64));
        killed_in_flight += usize::from(push.try_wait().unwrap().is_none());
        service.kill();
        service.start_again();
    }
    assert!(killed_in_flight >= 2, "the push was over too soon; the test shows nothing");
    let status = push.wait().unwrap();
    assert!(status.success(), "the client did not come through: {status}");
    service.stop();

    let mut found: BTreeMap<(String, i64), u32> = BTreeMap::new();
    let store = LocalStore::new(service.archive()).unwrap();
    let snapshot = Snapshot::load(&store).unwrap();
    for file in snapshot.files().filter(|file| file.partition.dataset == Dataset::Readings) {
        for reading in file.read(&store).unwrap().readings() {
            *found.entry((reading.unit.to_string(), reading.reading.time)).or_default() += 1;
        }
    }
    assert_eq!(found.len(), ROWS, "readings that are stored");
    assert!(found.values().all(|times| *times == 1), "some readings are stored twice");
    let on_disk = walk(&service.archive().join("readings"));
    let named: Vec<_> = snapshot.files().filter(|f| f.partition.dataset == Dataset::Readings).collect();
    assert_eq!(on_disk, named.len(), "a stranger's glob sees the files that the manifest names and no other");
}

fn walk(folder: &std::path::Path) -> usize {
    let mut files = 0;
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        files += if path.is_dir() {
            walk(&path)
        } else {
            usize::from(path.extension().is_some_and(|e| e == "parquet"))
        };
    }
    files
}
