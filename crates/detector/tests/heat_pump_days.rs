//! Two measured days of a two-stage air-source heat pump in cooling, NIST laboratory data (repository
//! ZhelunChen/HILFT-ASHP-DEMO, MIT licence). They are not part of this repository: a test without them says so and
//! passes.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::print_stderr)]

mod common;

use common::Watched;
use rimeline_channels::{
    Channel, Compressor, DAY_MS, HOUR_MS, MINUTE_MS, Power, Reading, RunningMode, Stage, State,
};
use rimeline_detector::{Condition, Fleet, Standing, UnitSetup, Verdict};

/// 28 August 2024, 00:00 UTC; the files state no year.
const DAY: i64 = 19_963 * DAY_MS;

#[derive(Clone, Copy)]
struct Row {
    minute: i64,
    zone: f64,
    supply: f64,
    outdoor: f64,
    set_point: f64,
    watts: f64,
    stage: u8,
}

fn day(file: &str) -> Option<Vec<Row>> {
    let path = common::measured("RIMELINE_MEASURED_DATA", "shared/data", &format!("nist-heat-pump/{file}"))?;
    let mut reader = csv::Reader::from_path(path).unwrap();
    let header = reader.headers().unwrap().clone();
    let column = |name: &str| header.iter().position(|h| h == name).expect(name);
    let (date, zone, supply) = (column("date_time"), column("zn_temp"), column("sa_temp"));
    let (outdoor, set_point) = (column("oa_temp"), column("zn_temp_cspt"));
    let (power, stage) = (column("od_power"), column("stg"));
    let celsius = |text: &str| (text.parse::<f64>().unwrap() - 32.0) / 1.8;
    let rows = reader.records().map(|record| {
        let r = record.unwrap();
        // The last row is stamped 24:00:00.
        let clock: Vec<i64> =
            r[date].split_whitespace().nth(1).unwrap().split(':').map(|p| p.parse().unwrap()).collect();
        Row {
            minute: clock[0] * 60 + clock[1],
            zone: celsius(&r[zone]),
            supply: celsius(&r[supply]),
            outdoor: celsius(&r[outdoor]),
            set_point: celsius(&r[set_point]),
            watts: r[power].parse().unwrap(),
            stage: r[stage].parse().unwrap(),
        }
    });
    Some(rows.collect())
}

fn reading(row: &Row) -> Reading {
    let state = State {
        power: Power::On,
        running_mode: RunningMode::StartStop,
        stage: [Stage::Satisfied, Stage::CoolingLow, Stage::CoolingHigh][usize::from(row.stage)],
        compressor: if row.watts > 500.0 { Compressor::Running } else { Compressor::Stopped },
        ..State::default()
    };
    let mut reading = Reading::new(DAY + row.minute * MINUTE_MS, state);
    reading.set_quantity(Channel::ReturnAirControl, row.zone);
    reading.set_quantity(Channel::SupplyAirControl, row.supply);
    reading.set_quantity(Channel::AmbientAir, row.outdoor);
    reading.set_quantity(Channel::SetPoint, row.set_point);
    reading
}

fn watched(rows: &[Row]) -> Watched {
    let mut unit = Watched::new(UnitSetup::default());
    let mut fleet = Fleet::new();
    for row in rows {
        unit.observe(&reading(row), &mut fleet);
        unit.tick(DAY + row.minute * MINUTE_MS);
    }
    unit
}

#[test]
fn an_ordinary_day_raises_nothing_and_shows_29_starts() {
    let Some(rows) = day("atlanta_eff_default.csv") else {
        return;
    };
    let unit = watched(&rows);
    assert!(unit.opened().is_empty(), "{:#?}", unit.told());
    // Counted by hand in the file; one start more or less is a matter of the power threshold.
    assert!((28..=30).contains(&unit.state.starts_seen()), "{}", unit.state.starts_seen());
}

#[test]
fn on_the_hot_day_only_the_run_that_never_reaches_its_set_point_is_raised() {
    let Some(rows) = day("tucson_eff_default.csv") else {
        return;
    };
    let unit = watched(&rows);
    let opened = unit.opened();
    assert!(!opened.is_empty(), "{:#?}", unit.told());
    for signal in &opened {
        assert_eq!(signal.condition, Condition::SlowPullDown, "{:#?}", unit.told());
    }
    let first = opened[0];
    // The run lasts from 09:02 to 15:53.
    let run = DAY + 9 * HOUR_MS + 2 * MINUTE_MS..=DAY + 15 * HOUR_MS + 53 * MINUTE_MS;
    assert!(run.contains(&first.at) && first.onset >= *run.start() - MINUTE_MS, "{}", common::told(first));
    assert!(first.evidence.statements[0].contains("without a stop"), "{}", common::told(first));
    assert!((19..=21).contains(&unit.state.starts_seen()), "{}", unit.state.starts_seen());
}

/// At night every channel of the file stands still for 20 minutes and more.
#[test]
fn a_night_in_which_every_channel_stands_still_is_no_stuck_sensor() {
    for file in ["atlanta_eff_default.csv", "tucson_eff_default.csv"] {
        let Some(rows) = day(file) else { return };
        let unit = watched(&rows);
        assert!(unit.signals.iter().all(|s| s.condition != Condition::SensorStuck), "{:#?}", unit.told());
    }
}

#[test]
fn after_one_day_tests_against_a_baseline_are_still_learning() {
    let Some(rows) = day("atlanta_eff_default.csv") else {
        return;
    };
    let unit = watched(&rows);
    let judgements = unit.state.judgements(&unit.setup, &unit.config);
    let of = |condition| judgements.iter().find(|j| j.condition == condition).unwrap();
    for condition in [Condition::WeakCooling, Condition::ShortCycling, Condition::SensorNoisy] {
        assert_eq!(of(condition).verdict, Verdict::Learning, "{:?}", of(condition));
    }
    assert_eq!(of(Condition::RisingDischargePressure).verdict, Verdict::Abstains);
    assert_eq!(of(Condition::TwinsDisagree).verdict, Verdict::Abstains);
    assert!(judgements.iter().all(|j| j.verdict != Verdict::Flagged));
    assert!(unit.signals.iter().all(|s| s.standing != Standing::Pending), "{:#?}", unit.told());
}
