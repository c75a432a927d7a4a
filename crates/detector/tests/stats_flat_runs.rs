//! Flat runs in measured series that other people marked.
//!
//! The files are those of the Python package pvanalytics 0.2.2 (MIT), in its `data` folder; set
//! `RIMELINE_PVANALYTICS_DIR` to that folder. Without it these tests say so and pass.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::print_stderr)]

use std::fs::File;
use std::path::PathBuf;

use parquet::file::reader::{FileReader, SerializedFileReader};
use parquet::record::{Field, RowAccessor};
use rimeline_detector::stats::{FlatRunDesign, FlatSpan, flat_runs};

const MINUTE_MS: i64 = 60_000;
const DAY_MS: i64 = 1_440 * MINUTE_MS;

/// Equal values for an hour, at one value per quarter of an hour.
const AN_HOUR: FlatRunDesign = FlatRunDesign {
    tolerance: 0.0,
    least_count: 5,
    least_ms: 60 * MINUTE_MS,
    longest_gap_ms: 60 * MINUTE_MS,
};

fn folder() -> Option<PathBuf> {
    let folder = std::env::var_os("RIMELINE_PVANALYTICS_DIR").map(PathBuf::from);
    if folder.is_none() {
        eprintln!("skipped: RIMELINE_PVANALYTICS_DIR does not name the data folder of pvanalytics 0.2.2");
    }
    folder
}

/// A series whose rows are a quarter of an hour apart, with its marks.
fn csv_series(path: PathBuf) -> (Vec<i64>, Vec<f64>, Vec<bool>) {
    let mut reader = csv::Reader::from_path(path).unwrap();
    let (mut times, mut values, mut marks) = (Vec::new(), Vec::new(), Vec::new());
    for (i, row) in reader.records().enumerate() {
        let row = row.unwrap();
        times.push(i as i64 * 15 * MINUTE_MS);
        values.push(row[1].parse().unwrap_or(f64::NAN));
        marks.push(row.get(2) == Some("True"));
    }
    (times, values, marks)
}

fn marked_stretches(times: &[i64], marks: &[bool]) -> Vec<(i64, i64, u32)> {
    let mut stretches: Vec<(i64, i64, u32)> = Vec::new();
    for (i, _) in marks.iter().enumerate().filter(|(_, mark)| **mark) {
        match stretches.last_mut() {
            Some(last) if i > 0 && last.1 == times[i - 1] => *last = (last.0, times[i], last.2 + 1),
            _ => stretches.push((times[i], times[i], 1)),
        }
    }
    stretches
}

fn not_at_zero(spans: &[FlatSpan]) -> Vec<(i64, i64, u32)> {
    spans.iter().filter(|s| s.high != 0.0).map(|s| (s.from, s.to, s.count)).collect()
}

#[test]
fn the_three_marked_frozen_stretches_of_an_inverter_are_found_and_no_other() {
    let Some(folder) = folder() else { return };
    let (times, values, marks) = csv_series(folder.join("ac_power_inv_2173_stale_data.csv"));
    let marked = marked_stretches(&times, &marks);
    assert_eq!(marked.iter().map(|m| m.2).collect::<Vec<_>>(), [60, 100, 85]);
    // An inverter stands at zero every night: zero is its rest and no frozen value.
    assert_eq!(not_at_zero(&flat_runs(&times, &values, &AN_HOUR)), marked);
}

#[test]
fn the_same_inverter_without_frozen_stretches_has_none() {
    let Some(folder) = folder() else { return };
    let (times, values, _) = csv_series(folder.join("ac_power_inv_2173.csv"));
    assert_eq!(not_at_zero(&flat_runs(&times, &values, &AN_HOUR)), []);
}

/// Four years of a module temperature, which was recorded as zero from 2016-12-13 10:15 to 2017-12-22 13:15 UTC, with
/// 13 days inside missing altogether.
#[test]
fn the_year_at_zero_of_a_module_temperature_is_found() {
    let Some(folder) = folder() else { return };
    let file = File::open(folder.join("system_4_module_temperature.parquet")).unwrap();
    let (mut times, mut values) = (Vec::new(), Vec::new());
    for row in SerializedFileReader::new(file).unwrap().get_row_iter(None).unwrap() {
        let row = row.unwrap();
        times.push(row.get_timestamp_micros(0).unwrap() / 1_000);
        let value = row.get_column_iter().nth(1).map(|(_, field)| field.clone());
        values.push(if let Some(Field::Float(value)) = value { f64::from(value) } else { f64::NAN });
    }
    assert_eq!(times.len(), 140_256);

    let a_week = FlatRunDesign { least_ms: 7 * DAY_MS, longest_gap_ms: 14 * DAY_MS, ..AN_HOUR };
    let long = flat_runs(&times, &values, &a_week);
    let expected =
        FlatSpan { from: 1_481_624_100_000, to: 1_513_948_500_000, count: 34_658, low: 0.0, high: 0.0 };
    assert_eq!(long, [expected]);

    // With no faith in gaps it is two stretches, and still nothing else stands still.
    let strict = flat_runs(&times, &values, &FlatRunDesign { longest_gap_ms: 60 * MINUTE_MS, ..a_week });
    assert_eq!(strict.iter().map(|s| s.count).collect::<Vec<_>>(), [33_789, 869]);
    assert_eq!(not_at_zero(&flat_runs(&times, &values, &AN_HOUR)), []);
}
