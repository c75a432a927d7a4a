//! Sensors: what is a finding, what is not, and when.
#![allow(clippy::unwrap_used)]

mod common;

use common::Watched;
use rimeline_channels::{
    Absence, Channel, Compressor, DAY_MS, Drive, HOUR_MS, MINUTE_MS, Power, Reading, RunningMode, Stage,
    State, Value,
};
use rimeline_detector::{Condition, Fleet, Standing, UnitSetup};

const START: i64 = 20_000 * DAY_MS;

fn state(stage: Stage) -> State {
    let running = matches!(stage, Stage::CoolingHigh | Stage::CoolingLow | Stage::Defrosting);
    State {
        power: Power::On,
        drive: Drive::Engine,
        running_mode: RunningMode::StartStop,
        stage,
        compressor: if running { Compressor::Running } else { Compressor::Stopped },
        ..State::default()
    }
}

/// Feeds readings at a cadence; `fill` sets the channels of the n-th.
fn feed(unit: &mut Watched, from: i64, cadence_min: i64, n: i64, fill: impl Fn(i64, &mut Reading)) -> i64 {
    let mut fleet = Fleet::new();
    for i in 0..n {
        let mut reading = Reading::new(from + i * cadence_min * MINUTE_MS, state(Stage::CoolingHigh));
        fill(i, &mut reading);
        unit.observe(&reading, &mut fleet);
    }
    from + n * cadence_min * MINUTE_MS
}

/// A return air sensor that is known to be fitted because it delivered.
fn delivering(cadence_min: i64) -> (Watched, i64) {
    let mut unit = Watched::new(UnitSetup::default());
    let next = feed(&mut unit, START, cadence_min, 30, |i, r| {
        r.set_quantity(Channel::ReturnAirControl, 3.0 + 0.1 * (i % 3) as f64);
    });
    assert!(unit.signals.is_empty());
    (unit, next)
}

fn open_circuit(_: i64, reading: &mut Reading) {
    reading.set(Channel::ReturnAirControl, Value::Absent(Absence::FailedOpen));
}

#[test]
fn an_open_circuit_takes_three_samples_and_five_minutes() {
    let (mut unit, next) = delivering(1);
    let next = feed(&mut unit, next, 1, 5, open_circuit);
    assert!(unit.signals.is_empty(), "five samples span four minutes");
    feed(&mut unit, next, 1, 1, open_circuit);
    let signal = &unit.opened()[0];
    assert_eq!(
        (signal.condition, signal.channel),
        (Condition::SensorOutOfRange, Some(Channel::ReturnAirControl))
    );
    assert_eq!(signal.onset, next - 5 * MINUTE_MS);
    assert!(signal.evidence.statements[0].contains("circuit is open"), "{}", common::told(signal));
    assert!(signal.evidence.statements.iter().any(|s| s.contains("Last plausible value 3.")));
}

#[test]
fn at_a_slow_cadence_two_samples_are_enough() {
    let (mut unit, next) = delivering(15);
    feed(&mut unit, next, 15, 2, |_, r| r.set_quantity(Channel::ReturnAirControl, -60.0));
    let signal = &unit.opened()[0];
    assert!(signal.headline.contains("below what can be"), "{}", signal.headline);
    assert_eq!(signal.evidence.limits.len(), 2);
}

#[test]
fn it_clears_after_an_hour_of_plausible_values_and_not_before() {
    let (mut unit, next) = delivering(5);
    let next = feed(&mut unit, next, 5, 4, open_circuit);
    let next = feed(&mut unit, next, 5, 12, |_, r| r.set_quantity(Channel::ReturnAirControl, 3.0));
    assert_eq!(unit.signals.len(), 1);
    feed(&mut unit, next, 5, 1, |_, r| r.set_quantity(Channel::ReturnAirControl, 3.0));
    assert_eq!(unit.signals[1].standing, Standing::Clear);
    assert_eq!(unit.signals[1].onset, unit.signals[0].onset);
}

#[test]
fn three_short_excursions_within_a_day_are_a_loose_connection() {
    let (mut unit, mut next) = delivering(5);
    for excursion in 0..3 {
        assert!(unit.opened().is_empty(), "{excursion}");
        next = feed(&mut unit, next, 5, 1, open_circuit);
        next = feed(&mut unit, next, 5, 24, |_, r| r.set_quantity(Channel::ReturnAirControl, 3.0));
    }
    assert!(unit.opened()[0].headline.contains("loose connection"));
}

#[test]
fn what_is_not_fitted_or_was_never_plausible_is_no_finding() {
    let mut unit =
        Watched::new(UnitSetup { fitted: vec![Channel::ReturnAirControl], ..UnitSetup::default() });
    feed(&mut unit, START, 5, 500, |i, r| {
        r.set_quantity(Channel::ReturnAirControl, 3.0 + 0.1 * (i % 3) as f64);
        r.set(Channel::SupplyAirControl, Value::Absent(Absence::NotFitted));
        r.set(Channel::Coil, Value::Absent(Absence::FailedShort));
        r.set_quantity(Channel::AmbientAir, 3276.7);
    });
    assert!(unit.signals.is_empty(), "{:#?}", unit.told());
    let mut unknown = Watched::new(UnitSetup::default());
    feed(&mut unknown, START, 5, 500, |_, r| {
        // An input without a sensor: one value for ever, then none.
        r.set_quantity(Channel::CargoProbe1, 0.0);
        r.set(Channel::Coil, Value::Absent(Absence::FailedOpen));
    });
    assert!(unknown.signals.is_empty(), "{:#?}", unknown.told());
}

#[test]
fn a_control_sensor_that_fails_under_a_load_is_escalated() {
    let (mut unit, next) = delivering(5);
    unit.setup.load =
        Some(rimeline_detector::Within { set_point: 2.0, below: 2.0, above: 3.0, running_mode: None });
    feed(&mut unit, next, 5, 4, open_circuit);
    assert_eq!(unit.opened()[0].standing, Standing::Escalated);
}

#[test]
fn channels_that_stop_in_one_reading_are_one_finding() {
    let channels = [Channel::ReturnAirControl, Channel::SupplyAirControl, Channel::Coil, Channel::AmbientAir];
    let mut unit = Watched::new(UnitSetup::default());
    let next = feed(&mut unit, START, 5, 30, |i, r| {
        for channel in channels {
            r.set_quantity(channel, 3.0 + 0.1 * (i % 3) as f64);
        }
        r.set_quantity(Channel::BatteryVoltage, 13.8 + 0.01 * (i % 3) as f64);
    });
    feed(&mut unit, next, 5, 12 * 7, |_, r| r.set_quantity(Channel::BatteryVoltage, 13.8));
    let opened = unit.opened();
    assert_eq!(opened.len(), 1, "{:#?}", unit.told());
    assert_eq!(opened[0].channel, None);
    assert!(opened[0].headline.starts_with("4 channels"));
}

/// Cycles of 30 min cooling and 10 min rest, with a defrost every two hours.
fn cycle(i: i64) -> (Stage, f64, f64) {
    let minute = i % 120;
    match minute {
        100..112 => (Stage::Defrosting, 4.5, 9.0),
        m if m % 40 < 30 => (Stage::CoolingHigh, 3.0 + 0.05 * (30 - m % 40) as f64, -4.2),
        m => (Stage::Satisfied, 3.0 + 0.15 * (m % 40 - 30) as f64, 3.0),
    }
}

fn cycling(unit: &mut Watched, minutes: std::ops::Range<i64>, stuck: Option<f64>, twin: bool) {
    let mut fleet = Fleet::new();
    for i in minutes {
        let (stage, ret, supply) = cycle(i);
        let mut reading = Reading::new(START + i * MINUTE_MS, state(stage));
        reading.set_quantity(Channel::ReturnAirControl, stuck.unwrap_or(ret));
        if twin {
            reading.set_quantity(Channel::ReturnAirCheck, ret + 0.2);
        }
        reading.set_quantity(Channel::SupplyAirControl, supply + 0.1 * (i % 2) as f64);
        reading.set_quantity(Channel::SetPoint, 3.0);
        unit.observe(&reading, &mut fleet);
    }
}

#[test]
fn a_return_sensor_that_stands_still_while_the_supply_air_moves_is_stuck_and_says_what_moved() {
    let mut unit = Watched::new(UnitSetup::default());
    cycling(&mut unit, 0..600, None, false);
    assert!(unit.signals.is_empty(), "{:#?}", unit.told());
    cycling(&mut unit, 600..1200, Some(3.5), false);
    let signal = unit.opened()[0];
    assert_eq!((signal.condition, signal.channel), (Condition::SensorStuck, Some(Channel::ReturnAirControl)));
    let said = &signal.evidence.statements[0];
    assert!(said.starts_with("Return air, control sensor unchanged at 3.5 C for"), "{said}");
    assert!(said.contains("while the supply air moved 7.") && said.contains("passed"), "{said}");
    cycling(&mut unit, 1200..1300, None, false);
    assert_eq!(unit.signals.last().unwrap().standing, Standing::Clear);
}

#[test]
fn a_coarse_sensor_in_a_quiet_load_is_not_stuck_because_its_twin_stands_still_too() {
    let mut unit = Watched::new(UnitSetup::default());
    let mut fleet = Fleet::new();
    for i in 0..3000 {
        let (stage, _, supply) = cycle(i);
        let mut reading = Reading::new(START + i * MINUTE_MS, state(stage));
        reading.set_quantity(Channel::ReturnAirControl, -20.0);
        reading.set_quantity(Channel::ReturnAirCheck, -20.0);
        reading.set_quantity(Channel::SupplyAirControl, -20.0 + supply);
        unit.observe(&reading, &mut fleet);
    }
    assert!(unit.signals.is_empty(), "{:#?}", unit.told());
}

#[test]
fn a_step_is_no_spike_and_a_jump_that_comes_back_is() {
    let mut unit = Watched::new(UnitSetup::default());
    feed(&mut unit, START, 5, 200, |i, r| {
        let step = if i >= 100 { 9.0 } else { 0.0 };
        let jump = if i == 50 || i == 150 { -12.0 } else { 0.0 };
        r.set_quantity(Channel::CargoProbe1, 2.0 + step + jump + 0.1 * (i % 2) as f64);
    });
    let at: Vec<i64> = unit.marks.iter().map(|m| (m.at - START) / (5 * MINUTE_MS)).collect();
    assert_eq!(at, [50, 150]);
    assert!(unit.signals.is_empty(), "two jumps are marks and no case");
}

#[test]
fn five_jumps_on_two_days_are_a_case_that_clears_after_a_quiet_week() {
    let mut unit = Watched::new(UnitSetup::default());
    let next = feed(&mut unit, START, 5, 2 * 288, |i, r| {
        let jump = if i % 100 == 99 { 12.0 } else { 0.0 };
        r.set_quantity(Channel::CargoProbe1, 2.0 + jump + 0.1 * (i % 2) as f64);
    });
    assert_eq!(unit.marks.len(), 5);
    assert_eq!(unit.opened()[0].condition, Condition::SensorSpiking);
    feed(&mut unit, next, 5, 8 * 288, |i, r| {
        r.set_quantity(Channel::CargoProbe1, 2.0 + 0.1 * (i % 2) as f64);
    });
    assert_eq!(unit.signals.last().unwrap().standing, Standing::Clear);
}

#[test]
fn what_the_neighbours_show_as_well_is_of_the_air_and_no_spike() {
    let mut unit = Watched::new(UnitSetup::default());
    feed(&mut unit, START, 5, 300, |i, r| {
        let air = if i % 50 == 49 { 15.0 } else { 2.0 };
        r.set_quantity(Channel::CargoProbe1, air + 0.1 * (i % 2) as f64);
        r.set_quantity(Channel::CargoProbe2, 0.7 * air + 0.1 * (i % 3) as f64);
    });
    assert!(unit.marks.is_empty(), "{:?}", unit.marks);
}

#[test]
fn only_a_unit_that_was_live_can_fall_silent_and_it_says_when_it_is_back() {
    let mut history = Watched::new(UnitSetup::default());
    let next = feed(&mut history, START, 5, 300, |_, r| r.set_quantity(Channel::ReturnAirControl, 2.0));
    history.tick(next + 30 * DAY_MS);
    assert!(history.signals.is_empty(), "history is never silent");

    let mut live = Watched::new(UnitSetup::default());
    let next = feed(&mut live, START, 5, 300, |_, r| r.set_quantity(Channel::ReturnAirControl, 2.0));
    live.tick(next);
    for minute in 0..300 {
        live.tick(next + minute * MINUTE_MS);
    }
    let standings: Vec<Standing> = live.signals.iter().map(|s| s.standing).collect();
    assert_eq!(standings, [Standing::Pending, Standing::Open], "{:#?}", live.told());
    assert!(
        live.signals[0].at - next <= 31 * MINUTE_MS
            && live.signals[1].at - next >= 2 * HOUR_MS - 6 * MINUTE_MS
    );
    feed(&mut live, next + 6 * HOUR_MS, 5, 1, |_, r| r.set_quantity(Channel::ReturnAirControl, 2.0));
    assert_eq!(live.signals.last().unwrap().standing, Standing::Clear);
}
