//! Each fault shows in its own feature, grows with its intensity, and leaves the others alone.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod common;

use std::sync::LazyLock;

use common::{Figures, figures, median, one_unit, readings, step_fault};
use rimeline_channels::{Absence, Channel, Power, Value};
use rimeline_fleet_model::{Course, Fault, FaultKind, Scenario, Service};

const ONSET: f64 = 8.0;
const FROM: i64 = 10;
const DAYS: u32 = 24;

static HEALTHY: LazyLock<Figures> = LazyLock::new(|| figures(&one_unit(Service::FrozenLongHaul, DAYS), FROM));

fn with(kind: FaultKind, level: f64) -> Figures {
    let scenario = one_unit(Service::FrozenLongHaul, DAYS).with_fault(step_fault(kind, None, ONSET, level));
    figures(&scenario, FROM)
}

fn shift(faulty: &Figures, of: impl Fn(&Figures) -> Vec<f64>) -> f64 {
    median(of(faulty)) - median(of(&HEALTHY))
}

#[test]
fn a_fouled_condenser_raises_condensing_temperature_and_little_else() {
    let (some, more) = (with(FaultKind::CondenserFouling, 0.25), with(FaultKind::CondenserFouling, 0.5));
    let over = |f: &Figures| f.over_ambient.clone();
    assert!((1.0..3.5).contains(&shift(&some, over)), "{}", shift(&some, over));
    assert!((3.5..8.0).contains(&shift(&more, over)), "{}", shift(&more, over));
    assert!(shift(&more, |f| f.air.clone()).abs() < 0.6);
    assert!(shift(&more, |f| f.evaporator.clone()).abs() < 0.8);
    assert!(shift(&more, |f| f.equalised.clone()).abs() < 5.0);
}

#[test]
fn a_condenser_that_is_all_but_blocked_trips_the_high_pressure_switch() {
    let full = with(FaultKind::CondenserFan, 1.0);
    assert!(full.alarms > 0);
    assert_eq!(HEALTHY.alarms, 0);
}

#[test]
fn a_worn_compressor_cools_less_and_lowers_condensing_temperature() {
    let half = with(FaultKind::CompressorWear, 0.5);
    let air = shift(&half, |f| f.air.clone()) / median(HEALTHY.air.clone());
    assert!((-0.45..-0.15).contains(&air), "air-side difference changed by {air}");
    assert!(shift(&half, |f| f.over_ambient.clone()) < -1.5);
    assert!(half.duty > HEALTHY.duty + 0.1);
}

#[test]
fn lost_refrigerant_starves_the_evaporator_and_at_last_cycles_on_low_pressure() {
    let most = with(FaultKind::LowCharge, 0.75);
    assert!(shift(&most, |f| f.evaporator.clone()) > 3.0);
    assert!(shift(&most, |f| f.air.clone()) < -0.5);
    assert!(shift(&most, |f| f.over_ambient.clone()) < -0.5);
    let all = with(FaultKind::LowCharge, 1.0);
    assert!(all.starts_per_hour > 3.0, "{}", all.starts_per_hour);
}

#[test]
fn the_receiver_hides_the_first_loss_of_refrigerant() {
    let little = with(FaultKind::LowCharge, 0.1);
    assert!(shift(&little, |f| f.evaporator.clone()).abs() < 0.3);
}

#[test]
fn a_band_set_too_tight_multiplies_starts_at_the_same_condensing_temperature() {
    let tight = with(FaultKind::BandTooTight, 0.9);
    assert!(tight.starts_per_hour > 4.0 * HEALTHY.starts_per_hour, "{}", tight.starts_per_hour);
    assert!(shift(&tight, |f| f.evaporator.clone()).abs() < 2.0);
}

#[test]
fn a_control_sensor_in_the_supply_air_cycles_the_unit_and_parts_from_its_twin() {
    let loose = with(FaultKind::ControlSensorInSupplyAir, 0.8);
    assert!(loose.starts_per_hour > 2.0 * HEALTHY.starts_per_hour, "{}", loose.starts_per_hour);
    assert!(shift(&loose, |f| f.twins.clone()) < -2.0);
}

#[test]
fn a_coil_that_no_longer_clears_asks_for_more_defrosts_and_chokes_the_air() {
    let delivery = |fault: Option<Fault>| {
        let mut scenario = one_unit(Service::FrozenDelivery, DAYS);
        scenario.faults.extend(fault);
        figures(&scenario, FROM)
    };
    let plain = delivery(None);
    let iced = delivery(Some(step_fault(FaultKind::IcedCoil, None, ONSET, 0.9)));
    assert!(
        iced.defrosts_per_day > 1.5 * plain.defrosts_per_day,
        "{} {}",
        iced.defrosts_per_day,
        plain.defrosts_per_day
    );
    assert!(median(iced.evaporator) > median(plain.evaporator) + 0.3);
    assert!(median(iced.air) > median(plain.air) + 0.2, "less air is cooled further");
    assert!(iced.alarms > 0, "no defrost reached its time limit");
}

#[test]
fn a_leaking_seal_raises_the_run_fraction_and_leaves_capacity_alone() {
    let leak = with(FaultKind::DoorSeal, 0.75);
    assert!(leak.duty > HEALTHY.duty + 0.1, "{} {}", leak.duty, HEALTHY.duty);
    let air = shift(&leak, |f| f.air.clone()) / median(HEALTHY.air.clone());
    assert!(air.abs() < 0.12, "air-side difference changed by {air}");
    assert!(shift(&leak, |f| f.over_ambient.clone()).abs() < 1.0);
}

#[test]
fn a_silent_gateway_sends_nothing_until_it_is_repaired() {
    let scenario = one_unit(Service::FrozenLongHaul, 6);
    let fault = Fault { repaired_day: Some(4.0), ..step_fault(FaultKind::GatewaySilent, None, 2.0, 1.0) };
    let (from, to) = (scenario.day_ms(2.0), scenario.day_ms(4.0));
    let all = readings(&scenario.with_fault(fault));
    assert_eq!(all.iter().filter(|r| r.time >= from && r.time < to).count(), 0);
    assert_eq!(all.iter().filter(|r| r.time < from).count(), 2 * 288 - 1);
    assert!(all.iter().any(|r| r.time >= to));
}

#[test]
fn a_unit_left_off_after_a_cut_short_defrost_stands_off_with_a_load() {
    let scenario = one_unit(Service::FrozenLongHaul, 12);
    let scenario = scenario.with_fault(step_fault(FaultKind::LeftOffAfterDefrost, None, 5.0, 1.0));
    let fleet = rimeline_fleet_model::Fleet::new(&scenario).unwrap();
    let truth = fleet.truth()[0].clone();
    assert!(fleet.loads().iter().any(|l| l.from < truth.onset_ms && truth.onset_ms < l.until));
    let after: Vec<_> =
        readings(&scenario).into_iter().filter(|r| r.time > truth.onset_ms + 600_000).collect();
    assert!(after.len() > 288);
    assert!(after.iter().all(|r| r.state.power == Power::Off));
    assert_eq!(after[0].state.defrost_end, rimeline_channels::DefrostEnd::SwitchedOff);
    assert_eq!(after[0].state.defrost_origin, rimeline_channels::DefrostOrigin::Manual);
}

/// Runs a sensor fault of a check sensor and gives pairs of (healthy, faulty) readings after the onset.
fn sensor(kind: FaultKind, channel: Channel, level: f64) -> Vec<(Value, Value)> {
    let scenario = one_unit(Service::FrozenDelivery, 16);
    let plain = readings(&scenario);
    let onset = scenario.day_ms(ONSET);
    let faulty = readings(&scenario.with_fault(step_fault(kind, Some(channel), ONSET, level)));
    assert_eq!(plain.len(), faulty.len());
    for (a, b) in plain.iter().zip(&faulty) {
        let others = Channel::ALL.iter().filter(|c| **c != channel);
        assert!(
            others.into_iter().all(|c| a.get(*c) == b.get(*c)),
            "{kind:?} of {channel} changed another channel"
        );
        assert_eq!(a.state, b.state);
    }
    let after = plain.iter().zip(&faulty).filter(|p| p.0.time >= onset);
    after.map(|(a, b)| (a.get(channel), b.get(channel))).collect()
}

fn difference((a, b): &(Value, Value)) -> Option<i32> {
    match (a, b) {
        (Value::Number(a), Value::Number(b)) => Some(b - a),
        _ => None,
    }
}

#[test]
fn an_open_or_shorted_sensor_says_so_or_sends_what_cannot_be() {
    for (kind, absence) in
        [(FaultKind::SensorOpen, Absence::FailedOpen), (FaultKind::SensorShort, Absence::FailedShort)]
    {
        let span = Channel::SupplyAirCheck.spec().span;
        for (_, said) in sensor(kind, Channel::SupplyAirCheck, 1.0) {
            match said {
                Value::Number(n) => {
                    let t = Channel::SupplyAirCheck.to_quantity(n);
                    assert!(t < span.0 || t > span.1, "{kind:?} sends {t}");
                }
                Value::Absent(a) => assert_eq!(a, absence),
            }
        }
    }
}

#[test]
fn a_stuck_sensor_repeats_one_value() {
    let pairs = sensor(FaultKind::SensorStuck, Channel::SupplyAirCheck, 1.0);
    assert!(pairs.iter().all(|p| p.1 == pairs[0].1));
    let healthy_moves = pairs.iter().filter(|p| p.0 != pairs[0].0).count();
    assert!(healthy_moves > 1000);
}

#[test]
fn a_drifting_sensor_is_off_by_four_kelvin_at_full_intensity() {
    let pairs = sensor(FaultKind::SensorDrift, Channel::ReturnAirCheck, 1.0);
    assert!(pairs.iter().all(|p| difference(p).unwrap().abs() == 40));
}

#[test]
fn a_noisy_sensor_scatters_and_a_spiking_one_jumps_now_and_then() {
    let noisy: Vec<f64> = sensor(FaultKind::SensorNoise, Channel::SupplyAirCheck, 0.5)
        .iter()
        .map(|p| f64::from(difference(p).unwrap()) / 10.0)
        .collect();
    let sd = (noisy.iter().map(|d| d * d).sum::<f64>() / noisy.len() as f64).sqrt();
    assert!((0.8..1.2).contains(&sd), "{sd}");
    let spiking = sensor(FaultKind::SensorSpiking, Channel::SupplyAirCheck, 1.0);
    let jumps = spiking.iter().filter(|p| difference(p).unwrap().abs() > 50).count();
    let same = spiking.iter().filter(|p| difference(p) == Some(0)).count();
    assert_eq!(jumps + same, spiking.len(), "between its jumps a spiking sensor is right");
    assert!((80..400).contains(&jumps), "{jumps} jumps in eight days");
}

#[test]
fn a_transducer_that_is_off_shows_when_the_circuit_has_equalised() {
    for channel in [Channel::DischargePressure, Channel::SuctionPressure] {
        let scenario = one_unit(Service::FrozenLongHaul, DAYS);
        let fault = step_fault(FaultKind::PressureOffset, Some(channel), ONSET, 0.5);
        let off = shift(&figures(&scenario.with_fault(fault), FROM), |f| f.equalised.clone());
        let expected = if channel == Channel::DischargePressure { 130.0 } else { 55.0 };
        assert!((off.abs() - expected).abs() < 8.0, "{channel} {off}");
    }
}

#[test]
fn a_ramp_grows_evenly_reaches_service_now_and_ends_with_its_repair() {
    let course = Course::Ramp { peak: 1.0, days: 10.0 };
    assert_eq!((course.at(-1.0), course.at(5.0), course.at(20.0)), (0.0, 0.5, 1.0));
    assert_eq!(course.days_to_service(), Some(5.0));
    assert_eq!(Course::Ramp { peak: 0.4, days: 10.0 }.days_to_service(), None);
    assert_eq!(Course::Step(0.5).days_to_service(), Some(0.0));
    let scenario = one_unit(Service::FrozenLongHaul, DAYS);
    let fault = Fault {
        repaired_day: Some(16.0),
        course: Course::Ramp { peak: 0.9, days: 4.0 },
        ..step_fault(FaultKind::CondenserFouling, None, ONSET, 1.0)
    };
    let cured = figures(&scenario.with_fault(fault), 17);
    let plain = figures(&one_unit(Service::FrozenLongHaul, DAYS), 17);
    assert!((median(cured.over_ambient) - median(plain.over_ambient)).abs() < 1.0);
}

#[test]
fn a_breakdown_stops_the_unit_for_good_and_raises_an_alarm() {
    let scenario = one_unit(Service::FrozenLongHaul, 14);
    let fault = Fault { breakdown_day: Some(9.0), ..step_fault(FaultKind::CompressorWear, None, ONSET, 0.9) };
    let broken = scenario.day_ms(9.0);
    let all = readings(&scenario.with_fault(fault));
    let on_after = all.iter().filter(|r| r.time > broken + 300_000 && r.state.power == Power::On);
    let stages: Vec<_> = on_after.map(|r| r.state.stage).collect();
    assert!(!stages.is_empty());
    assert!(stages.iter().all(|s| *s == rimeline_channels::Stage::StoppedOnFault));
}

#[test]
fn truth_names_unit_channel_and_times_of_every_fault() {
    let scenario = Scenario::demo();
    let fleet = rimeline_fleet_model::Fleet::new(&scenario).unwrap();
    assert_eq!(fleet.truth().len(), scenario.faults.len());
    for truth in fleet.truth() {
        assert_eq!(truth.kind.of_a_channel(), truth.channel.is_some());
        assert!(truth.service_now_ms.is_none_or(|s| s >= truth.onset_ms));
        assert!(truth.breakdown_ms.is_none_or(|b| b > truth.onset_ms));
        let unit = fleet.units().iter().find(|u| u.id == truth.unit).unwrap();
        assert!(truth.channel.is_none_or(|c| unit.has(c)), "{} has no {:?}", unit.id, truth.channel);
    }
}
