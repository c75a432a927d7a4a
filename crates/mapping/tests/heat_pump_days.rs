//! The ready mapping for measured heat-pump days, against the files as another reader sees them.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod common;

use std::path::PathBuf;

use rimeline_channels::{Channel, MINUTE_MS, Reading, Stage};
use rimeline_mapping::{Mapping, Source};

/// 2024-08-26T00:00:00Z and two days later.
const AUGUST_26: i64 = 1_724_630_400_000;
const DAY: i64 = 86_400_000;

fn day(file: &str) -> Option<(Mapping, PathBuf)> {
    let usual = common::repository().join("../shared/data");
    let path = common::measured("RIMELINE_MEASURED_DATA", Some(usual), &format!("nist-heat-pump/{file}"))?;
    Some((common::ready("heat-pump-days.toml"), path))
}

fn starts(rows: &[Reading]) -> usize {
    let running: Vec<bool> = rows.iter().map(|row| row.state.compressor_running().unwrap()).collect();
    running.windows(2).filter(|pair| !pair[0] && pair[1]).count()
}

fn a_day_goes_in_whole(file: &str, midnight: i64, expected_starts: usize) {
    let Some((mapping, path)) = day(file) else { return };
    let mut import = mapping.import(vec![Source::path(&path)]);
    let rows = common::rows(&mut import);
    assert_eq!(import.problems().total(), 0, "{}", import.problems());
    assert_eq!(rows.len(), 1_440);
    let stem = file.trim_end_matches("_eff_default.csv");
    assert!(rows.iter().all(|(unit, _)| unit.as_str() == format!("HP-{stem}")));
    let rows: Vec<Reading> = rows.into_iter().map(|(_, reading)| reading).collect();

    let mut table = csv::Reader::from_path(&path).unwrap();
    let header: Vec<String> = table.headers().unwrap().iter().map(str::to_owned).collect();
    let place = |name: &str| header.iter().position(|known| known == name).unwrap();
    let columns = [
        (Channel::ReturnAirControl, place("zn_temp")),
        (Channel::SupplyAirControl, place("sa_temp")),
        (Channel::AmbientAir, place("oa_temp")),
        (Channel::SetPoint, place("zn_temp_cspt")),
    ];
    let (power, stage) = (place("od_power"), place("stg"));
    for (i, record) in table.records().enumerate() {
        let (record, row) = (record.unwrap(), &rows[i]);
        assert_eq!(row.time, midnight + (i as i64 + 1) * MINUTE_MS, "row {i}: {}", &record[0]);
        for (channel, column) in columns {
            let celsius = (record[column].parse::<f64>().unwrap() - 32.0) / 1.8;
            let found = row.quantity(channel).unwrap();
            assert!((found - celsius).abs() <= 0.05 + 1e-9, "row {i} {channel}: {found} for {celsius}");
        }
        let running = record[power].parse::<f64>().unwrap() > 500.0;
        assert_eq!(row.state.compressor_running(), Some(running), "row {i}");
        let expected = match &record[stage] {
            "0" => Stage::Satisfied,
            "1" => Stage::CoolingLow,
            _ => Stage::CoolingHigh,
        };
        assert_eq!(row.state.stage, expected, "row {i}");
    }
    assert!(starts(&rows).abs_diff(expected_starts) <= 1, "{} compressor starts", starts(&rows));
}

/// Starts: counted by hand in the file's power column, one more or less allowed.
#[test]
fn the_ordinary_day_has_1440_rows_and_29_starts_and_ends_at_the_next_midnight() {
    a_day_goes_in_whole("atlanta_eff_default.csv", AUGUST_26, 29);
}

#[test]
fn the_hot_day_has_1440_rows_and_20_starts_and_ends_at_the_next_midnight() {
    a_day_goes_in_whole("tucson_eff_default.csv", AUGUST_26 + 2 * DAY, 20);
}

#[test]
fn both_days_together_keep_their_units_apart() {
    let (Some((mapping, one)), Some((_, other))) =
        (day("atlanta_eff_default.csv"), day("tucson_eff_default.csv"))
    else {
        return;
    };
    let mut import = mapping.import(vec![Source::path(one), Source::path(other)]);
    assert_eq!(common::rows(&mut import).len(), 2_880);
    assert_eq!(
        import.units().iter().map(rimeline_channels::Id::as_str).collect::<Vec<_>>(),
        ["HP-atlanta", "HP-tucson"]
    );
    let description = mapping.description_of(&import.units()[0]).unwrap();
    let fitted = ["return_air_control", "supply_air_control", "ambient_air", "set_point"];
    assert_eq!(description.fitted.unwrap(), fitted);
}
