//! The ready mappings for recordings of a solar plant that stood still.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod common;

use rimeline_channels::{Channel, DAY_MS, Value};
use rimeline_mapping::Source;

fn data(file: &str) -> Option<std::path::PathBuf> {
    common::measured("RIMELINE_PVANALYTICS_DIR", None, file)
}

/// (first row, rows) of the longest stretch of one value.
fn longest_still(values: &[Value]) -> (usize, usize) {
    let (mut best, mut start) = ((0, 0), 0);
    for i in 1..=values.len() {
        if i == values.len() || values[i] != values[start] || !matches!(values[start], Value::Number(_)) {
            if i - start > best.1 && matches!(values[start], Value::Number(_)) {
                best = (start, i - start);
            }
            start = i;
        }
    }
    best
}

#[test]
fn the_stretches_that_the_file_marks_stand_still_in_the_readings() {
    let Some(path) = data("ac_power_inv_2173_stale_data.csv") else {
        return;
    };
    let mapping = common::ready("inverter-power-stale.toml");
    let mut import = mapping.import(vec![Source::path(&path)]);
    let rows = common::rows(&mut import);
    assert_eq!((rows.len(), import.problems().total()), (3_000, 0), "{}", import.problems());
    let mut table = csv::Reader::from_path(&path).unwrap();
    let (mut marked, mut absent) = (0, 0);
    let mut last = None;
    for (i, record) in table.records().enumerate() {
        let record = record.unwrap();
        if record[1].is_empty() {
            absent += 1;
            assert_eq!(rows[i].1.get(Channel::Auxiliary), common::NOT_REPORTED, "row {i}");
            continue;
        }
        let exact = 80.0 * record[1].parse::<f64>().unwrap();
        let found = rows[i].1.quantity(Channel::Auxiliary).unwrap();
        assert!((found - exact).abs() <= 0.05 + 1e-9, "row {i}: {found} for {exact}");
        if &record[2] == "True" {
            marked += 1;
            if let Some((row, value)) = last
                && row + 1 == i
            {
                assert_eq!(found, value, "row {i} is marked as standing still");
            }
            last = Some((i, found));
        }
    }
    assert_eq!((marked, absent), (245, 1149), "as the file has them");
}

#[test]
fn the_year_at_zero_is_a_year_at_zero_in_the_readings() {
    let Some(path) = data("system_4_module_temperature.parquet") else {
        return;
    };
    let mapping = common::ready("module-temperature-year-at-zero.toml");
    let mut import = mapping.import(vec![Source::path(&path)]);
    let rows = common::rows(&mut import);
    assert_eq!(rows.len(), 140_256, "as many as the file has");
    let values: Vec<Value> = rows.iter().map(|(_, reading)| reading.get(Channel::Auxiliary)).collect();
    let (start, length) = longest_still(&values);
    assert_eq!(values[start], Value::Number(0));
    let days = (rows[start + length - 1].1.time - rows[start].1.time) as f64 / DAY_MS as f64;
    // 2016-12-13T10:15:00Z, and 352 days of quarter hours; counted in the file.
    assert_eq!((rows[start].1.time, length), (1_481_624_100_000, 33_789));
    assert!((days - 352.0).abs() < 0.1, "{days} days");
    // Nothing else stands still for long.
    let (before, after) = (&values[..start], &values[start + length..]);
    assert!(longest_still(before).1.max(longest_still(after).1) < length / 4);
    assert!(import.problems().total() == 0, "{}", import.problems());
}
