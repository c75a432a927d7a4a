//! Faulty simulated units: is each kind of fault found, called by a right name, and early enough?
#![allow(clippy::unwrap_used, clippy::print_stdout)]

mod common;

use std::collections::BTreeMap;

use common::Played;
use rimeline_channels::{Channel, DAY_MS};
use rimeline_detector::Condition;
use rimeline_fleet_model::{Course, Fault, FaultKind, Scenario, Service, Truth, UnitChoice};

const DAYS: u32 = 60;
const OF_EACH: u32 = 3;

struct Plan {
    kind: FaultKind,
    channel: Option<Channel>,
    course: Course,
    breaks: Option<f64>,
}

fn plans() -> Vec<Plan> {
    use FaultKind as K;
    let slow =
        |kind, breaks| Plan { kind, channel: None, course: Course::Ramp { peak: 1.0, days: 24.0 }, breaks };
    let at_once = |kind, level| Plan { kind, channel: None, course: Course::Step(level), breaks: None };
    let sensor = |kind, channel, level| Plan { channel: Some(channel), ..at_once(kind, level) };
    vec![
        slow(K::CondenserFouling, Some(58.0)),
        at_once(K::CondenserFan, 0.65),
        slow(K::CompressorWear, Some(58.0)),
        slow(K::LowCharge, Some(58.0)),
        at_once(K::BandTooTight, 0.9),
        at_once(K::ControlSensorInSupplyAir, 0.8),
        at_once(K::GatewaySilent, 1.0),
        sensor(K::SensorOpen, Channel::ReturnAirControl, 1.0),
        sensor(K::SensorShort, Channel::CargoProbe1, 1.0),
        sensor(K::SensorStuck, Channel::SupplyAirControl, 1.0),
        sensor(K::SensorNoise, Channel::SupplyAirCheck, 0.7),
        sensor(K::SensorSpiking, Channel::ReturnAirCheck, 0.9),
        Plan {
            course: Course::Ramp { peak: 1.0, days: 20.0 },
            ..sensor(K::SensorDrift, Channel::ReturnAirCheck, 1.0)
        },
        sensor(K::PressureOffset, Channel::DischargePressure, 0.8),
    ]
}

/// Every sensor fitted; faults begin on days 30 to 34, when baselines stand.
fn played(plans: &[Plan], services: &[Service]) -> Played {
    let units = OF_EACH * plans.len() as u32;
    let mut scenario = Scenario::small(units, DAYS, 21);
    // Summer: what is judged only when it is warm can be judged.
    scenario.depots[0].mean_c = 24.0;
    for unit in 0..units {
        let plan = &plans[(unit / OF_EACH) as usize];
        scenario = scenario
            .with_choice(UnitChoice {
                unit,
                service: Some(services[unit as usize % services.len()]),
                cadence_s: Some(300),
                resolution_k: Some(0.1),
                twins: Some(true),
                pressures: Some(true),
                ..UnitChoice::default()
            })
            .with_fault(Fault {
                unit,
                kind: plan.kind,
                channel: plan.channel,
                onset_day: 30.0 + 1.7 * f64::from(unit % OF_EACH),
                course: plan.course,
                breakdown_day: plan.breaks,
                repaired_day: None,
            });
    }
    common::play(&scenario)
}

/// First right and first wrong name given after the onset, ms.
fn named(truth: &Truth, unit: &common::Watched) -> (Option<i64>, Option<(i64, Condition)>) {
    let names = truth.kind.rightly_called();
    let after = unit.opened().into_iter().filter(|s| s.at >= truth.onset_ms);
    let (right, wrong): (Vec<_>, Vec<_>) = after.partition(|s| names.contains(&s.condition.name()));
    (right.first().map(|s| s.at), wrong.first().map(|s| (s.at, s.condition)))
}

#[derive(Debug, Default)]
struct Score {
    found: BTreeMap<String, (u32, u32)>,
    early: u32,
    breakdowns: u32,
    misnamed: u32,
    faults: u32,
    before_onset: u32,
}

fn score(played: &Played) -> Score {
    let mut score = Score::default();
    for (unit, known) in played.units.iter().zip(played.model.units()) {
        let truth = played.model.truth().iter().find(|t| t.unit == known.id).unwrap();
        let (right, wrong) = named(truth, unit);
        for signal in unit.opened().into_iter().filter(|s| s.at < truth.onset_ms) {
            println!("before any fault: {} {}", known.id, common::told(signal));
            score.before_onset += 1;
        }
        score.faults += 1;
        let in_time = right.is_some_and(|at| truth.breakdown_ms.is_none_or(|b| at < b));
        let count = score.found.entry(format!("{:?}", truth.kind)).or_default();
        *count = (count.0 + u32::from(in_time), count.1 + 1);
        if let Some(breakdown) = truth.breakdown_ms {
            score.breakdowns += 1;
            score.early += u32::from(right.is_some_and(|at| breakdown - at >= 3 * DAY_MS));
        }
        score.misnamed += u32::from(wrong.is_some_and(|(w, _)| right.is_none_or(|r| w < r)));
        let day = |at: i64| (at - truth.onset_ms) as f64 / DAY_MS as f64;
        println!(
            "{} {:?} {:?}: right after {:?} d, wrong {:?}",
            known.id,
            known.service,
            truth.kind,
            right.map(|at| (day(at) * 10.0).round() / 10.0),
            wrong.map(|(at, c)| ((day(at) * 10.0).round() / 10.0, c.name())),
        );
    }
    println!("{score:#?}");
    score
}

fn assert_good(score: &Score) {
    for (kind, (n, of)) in &score.found {
        assert!(n * 3 >= of * 2, "{kind}: found in {n} of {of}");
    }
    assert!(score.early * 10 >= score.breakdowns * 7, "called 72 h ahead: {score:?}");
    assert!(score.misnamed * 100 <= score.faults * 15, "{score:?}");
    assert!(score.before_onset <= 2, "{score:?}");
}

#[test]
fn in_start_stop_each_kind_of_fault_is_found_in_most_units_and_well_before_the_breakdown() {
    assert_good(&score(&played(&plans(), &[Service::FrozenLongHaul, Service::FrozenDelivery])));
}

/// Continuous units cool fully for minutes a day; the rest is judged at part load.
#[test]
fn in_continuous_running_each_kind_of_fault_is_found_in_most_units_and_well_before_the_breakdown() {
    let mut plans = plans();
    plans.retain(|p| {
        !matches!(
            p.kind,
            FaultKind::BandTooTight | FaultKind::ControlSensorInSupplyAir | FaultKind::GatewaySilent
        )
    });
    let services = [Service::ChilledDelivery, Service::FreshLongHaul, Service::Pharma];
    assert_good(&score(&played(&plans, &services)));
}
