//! What holds whatever the readings are.
#![allow(clippy::unwrap_used)]

mod common;

use common::Watched;
use proptest::prelude::*;
use rimeline_channels::{
    Channel, Compressor, DAY_MS, Drive, MINUTE_MS, Power, Reading, RunningMode, Stage, State,
};
use rimeline_detector::{
    Condition, Config, Fleet, Outcome, Output, StateError, UnitSetup, UnitState, Verdict,
};
use rimeline_fleet_model::{Course, Fault, FaultKind, Scenario, Service, UnitChoice};

const START: i64 = 20_000 * DAY_MS;

fn running() -> State {
    State {
        power: Power::On,
        drive: Drive::Engine,
        running_mode: RunningMode::StartStop,
        stage: Stage::CoolingHigh,
        compressor: Compressor::Running,
        ..State::default()
    }
}

/// A unit with a clogging condenser and one with a wearing compressor, read every 15 min for 50 days.
fn scenario() -> Scenario {
    let unit = |unit| UnitChoice {
        unit,
        service: Some(Service::FrozenLongHaul),
        cadence_s: Some(900),
        twins: Some(true),
        pressures: Some(true),
        ..UnitChoice::default()
    };
    let fault = |unit, kind| Fault {
        unit,
        kind,
        channel: None,
        onset_day: 30.0,
        course: Course::Ramp { peak: 1.0, days: 15.0 },
        breakdown_day: None,
        repaired_day: None,
    };
    let mut scenario = Scenario::small(2, 50, 5)
        .with_choice(unit(0))
        .with_choice(unit(1))
        .with_fault(fault(0, FaultKind::CondenserFouling))
        .with_fault(fault(1, FaultKind::CompressorWear));
    scenario.depots[0].mean_c = 24.0;
    scenario
}

#[test]
fn a_restart_from_bytes_after_every_100_readings_changes_nothing() {
    let scenario = scenario();
    let whole = common::play(&scenario);
    let mut model = rimeline_fleet_model::Fleet::new(&scenario).unwrap();
    let mut units: Vec<Watched> = model.units().iter().map(|u| Watched::new(common::setup_of(u))).collect();
    let (mut fleet, mut n) = (Fleet::new(), 0);
    let mut next_tick = scenario.start;
    while let Some(delivery) = model.next_delivery() {
        let arrived = delivery.arrived;
        common::deliver(&mut units[delivery.unit], &delivery, &mut fleet);
        if arrived >= next_tick {
            next_tick = arrived + 10 * MINUTE_MS;
            for unit in &mut units {
                unit.tick(arrived);
            }
        }
        n += 1;
        if n % 100 == 0 {
            for unit in &mut units {
                unit.state = UnitState::from_bytes(&unit.state.to_bytes()).unwrap();
            }
        }
    }
    for (again, first) in units.iter().zip(&whole.units) {
        assert!(!first.signals.is_empty());
        assert_eq!(again.signals, first.signals);
        assert_eq!(again.marks, first.marks);
        assert_eq!(again.state.to_bytes(), first.state.to_bytes());
    }
}

#[test]
fn a_reading_that_is_not_newer_is_not_assessed_and_changes_nothing() {
    let (mut unit, mut fleet, mut out) = (UnitState::new(), Fleet::new(), Output::default());
    let (setup, config) = (UnitSetup::default(), Config::default());
    let mut reading = Reading::new(START, running());
    reading.set_quantity(Channel::ReturnAirControl, 2.0);
    assert_eq!(unit.observe(&reading, &setup, &config, &mut fleet, &mut out), Outcome::Assessed);
    let before = unit.clone();
    for time in [START, START - 1, START - DAY_MS] {
        reading.time = time;
        reading.set_quantity(Channel::ReturnAirControl, 400.0);
        assert_eq!(unit.observe(&reading, &setup, &config, &mut fleet, &mut out), Outcome::NotAssessed);
        assert_eq!(unit, before);
    }
    assert_eq!(out, Output::default());
}

#[test]
fn bytes_of_another_version_or_cut_short_are_refused_in_words() {
    let mut bytes = UnitState::new().to_bytes();
    let damaged = UnitState::from_bytes(&bytes[..bytes.len() / 2]).unwrap_err();
    assert!(damaged.to_string().contains("rebuild it from history"), "{damaged}");
    assert!(matches!(UnitState::from_bytes(&[]), Err(StateError::Damaged(_))));
    bytes[0] = 200;
    assert_eq!(UnitState::from_bytes(&bytes), Err(StateError::Version { found: 200, known: 1 }));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    /// Flat values with the unit running, whatever they are and however often they come.
    #[test]
    fn a_constant_stream_never_opens(
        values in prop::collection::vec(-30.0..40.0f64, 6),
        pressures in prop::collection::vec(50.0..2500.0f64, 2),
        cadence_min in 1..30i64,
        start_stop in any::<bool>(),
    ) {
        let mut unit = Watched::new(UnitSetup::default());
        let mut fleet = Fleet::new();
        let mode = if start_stop { RunningMode::StartStop } else { RunningMode::Continuous };
        // A set point that is reached: a run that never reaches its own is a finding of its own.
        let state = State { running_mode: mode, ..running() };
        for i in 0..3000 {
            let mut reading = Reading::new(START + i * cadence_min * MINUTE_MS, state);
            for (channel, value) in Channel::ALL.iter().zip(&values) {
                reading.set_quantity(*channel, *value);
            }
            reading.set_quantity(Channel::SetPoint, values[0] + 0.5);
            reading.set_quantity(Channel::DischargePressure, pressures[0]);
            reading.set_quantity(Channel::SuctionPressure, pressures[1]);
            unit.observe(&reading, &mut fleet);
        }
        prop_assert!(unit.signals.is_empty(), "{:#?}", unit.told());
        prop_assert!(unit.marks.is_empty());
    }

    /// Readings of a failing unit, each after a gap: nothing is known of the time between them.
    #[test]
    fn a_gap_never_adds_evidence(hours in 6..40i64, value in 90.0..300.0f64) {
        let mut unit = Watched::new(UnitSetup { fitted: vec![Channel::ReturnAirControl], ..UnitSetup::default() });
        unit.setup.cadence_s = Some(300);
        let mut fleet = Fleet::new();
        for i in 0..200 {
            let mut reading = Reading::new(START + i * hours * 60 * MINUTE_MS, running());
            reading.set_quantity(Channel::ReturnAirControl, value);
            reading.set_quantity(Channel::SupplyAirControl, if i % 2 == 0 { 10.0 } else { -10.0 });
            reading.set_quantity(Channel::SetPoint, -20.0);
            unit.observe(&reading, &mut fleet);
        }
        prop_assert!(unit.opened().is_empty(), "{:#?}", unit.told());
    }
}

#[test]
fn every_condition_has_a_judgement_with_a_reason_from_the_first_moment_on() {
    let unit = Watched::new(UnitSetup::default());
    let judgements = unit.state.judgements(&unit.setup, &unit.config);
    let conditions: Vec<Condition> = judgements.iter().map(|j| j.condition).collect();
    assert_eq!(conditions, Condition::ALL);
    for judgement in &judgements {
        assert_eq!(judgement.verdict, Verdict::Abstains, "{judgement:?}");
        assert!(!judgement.reason.is_empty() && judgement.able_to_decide == 0.0);
    }
}
