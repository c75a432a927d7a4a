//! What no healthy machine ever does.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod common;

use rimeline_channels::{Absence, Channel, ChannelGroup, MINUTE_MS, Power, Reading, Stage, Value};
use rimeline_fleet_model::{Fleet, Scenario, Service, Unit};

/// Calls `check` with each unit, its reading before and its reading.
fn each_pair(scenario: &Scenario, mut check: impl FnMut(&Unit, Option<&Reading>, &Reading)) {
    let fleet = Fleet::new(scenario).unwrap();
    let units = fleet.units().to_vec();
    for (unit, mut stream) in units.iter().zip(fleet.into_streams()) {
        let mut before: Option<Reading> = None;
        while let Some(delivery) = stream.next_delivery() {
            check(unit, before.as_ref(), delivery.reading);
            before = Some(delivery.reading.clone());
        }
    }
}

#[test]
fn channels_that_are_not_fitted_never_have_a_number_and_fitted_ones_always_do() {
    each_pair(&Scenario::small(10, 6, 5), |unit, _, reading| {
        for &channel in Channel::ALL {
            match reading.get(channel) {
                Value::Number(_) => assert!(unit.has(channel), "{} {channel}", unit.id),
                Value::Absent(absence) => {
                    assert_eq!(absence, Absence::NotFitted, "{} {channel}", unit.id);
                    assert!(!unit.has(channel), "{} {channel}", unit.id);
                }
            }
        }
    });
}

#[test]
fn healthy_values_lie_inside_their_physical_span_and_on_their_sensor_s_resolution() {
    each_pair(&Scenario::small(10, 6, 5), |unit, _, reading| {
        for &channel in &unit.fitted {
            let (low, high) = channel.spec().span;
            let value = reading.quantity(channel).unwrap();
            assert!((low..=high).contains(&value), "{} {channel} {value}", unit.id);
        }
        let step = (unit.resolution_k * 10.0).round() as i32;
        assert_eq!(reading.fixed(Channel::ReturnAirControl).unwrap() % step, 0, "{}", unit.id);
    });
}

#[test]
fn counters_never_fall() {
    each_pair(&Scenario::small(10, 12, 5), |unit, before, reading| {
        let Some(before) = before else { return };
        for channel in Channel::ALL.iter().filter(|c| c.spec().group == ChannelGroup::Counter) {
            assert!(reading.fixed(*channel) >= before.fixed(*channel), "{} {channel}", unit.id);
        }
        let ran = before.state.compressor_running() == Some(false)
            && reading.state.compressor_running() == Some(true);
        if ran && before.state.stage != Stage::SelfTest {
            let starts = |r: &Reading| r.fixed(Channel::CompressorStarts).unwrap();
            assert!(starts(reading) > starts(before), "{} started without a count", unit.id);
        }
    });
}

#[test]
fn supply_air_is_colder_than_return_air_and_discharge_pressure_higher_than_suction_in_settled_cooling() {
    let mut settled = 0;
    each_pair(&Scenario::small(10, 12, 5), |unit, before, reading| {
        let Some(before) = before else { return };
        if !(before.state.cooling() && reading.state.cooling()) {
            return;
        }
        let q = |c: Channel| reading.quantity(c);
        if let (Some(pd), Some(ps)) = (q(Channel::DischargePressure), q(Channel::SuctionPressure)) {
            assert!(pd > ps + 100.0, "{} {pd} {ps}", unit.id);
        }
        if before.state.stage == Stage::CoolingHigh && reading.state.stage == Stage::CoolingHigh {
            let (back, supply) =
                (q(Channel::ReturnAirControl).unwrap(), q(Channel::SupplyAirControl).unwrap());
            assert!(back - supply > 1.0, "{} return {back} supply {supply}", unit.id);
            settled += 1;
        }
    });
    assert!(settled > 500, "{settled} readings of settled cooling");
}

#[test]
fn pressures_equalise_within_half_an_hour_of_standing() {
    let mut compared = 0;
    let mut still_since = None;
    each_pair(&Scenario::small(10, 12, 5), |unit, before, reading| {
        let still = reading.state.compressor_running() == Some(false);
        if before.is_none() || !still {
            still_since = None;
        }
        if still {
            let since = *still_since.get_or_insert(reading.time);
            let q = |c: Channel| reading.quantity(c);
            if let (true, Some(pd), Some(ps)) = (
                reading.time - since >= 30 * MINUTE_MS,
                q(Channel::DischargePressure),
                q(Channel::SuctionPressure),
            ) {
                assert!((pd - ps).abs() < 45.0, "{} {pd} {ps}", unit.id);
                compared += 1;
            }
        }
    });
    assert!(compared > 1000, "{compared} readings of standing circuits");
}

#[test]
fn a_unit_that_is_off_warms_towards_ambient_and_draws_no_fuel() {
    let scenario = Scenario::small(10, 12, 5);
    let mut hours_off = 0;
    each_pair(&scenario, |unit, before, reading| {
        let Some(before) = before else { return };
        if before.state.power == Power::Off && reading.state.power == Power::Off {
            hours_off += 1;
            assert_eq!(
                reading.fixed(Channel::EngineHours),
                before.fixed(Channel::EngineHours),
                "{}",
                unit.id
            );
            assert_eq!(reading.fixed(Channel::EngineSpeed), Some(0), "{}", unit.id);
        }
    });
    assert!(hours_off > 500);
    let settled = common::readings(&common::one_unit(Service::FrozenDelivery, 10));
    let off = settled.windows(37).filter(|w| w.iter().all(|r| r.state.power == Power::Off));
    let warming = off.map(|w| {
        let t = |r: &Reading| r.quantity(Channel::ReturnAirControl).unwrap();
        (t(&w[36]) - t(&w[0]), w[0].quantity(Channel::AmbientAir).unwrap() - t(&w[0]))
    });
    let (warmed, gap) = warming.max_by(|a, b| a.1.total_cmp(&b.1)).unwrap();
    assert!(warmed > 3.0, "warmed {warmed} K in three hours, {gap} K below ambient");
}

/// Magnitudes of common practice (no source): condensing 8 to 17 K over ambient, air-side difference 4 to 10 K,
/// evaporator difference 5 to 15 K, run fraction 0.3 to 0.9, and no more than 6 starts an hour.
#[test]
fn a_healthy_frozen_unit_runs_with_the_figures_of_the_trade() {
    let f = common::figures(&common::one_unit(Service::FrozenLongHaul, 28), 3);
    let over = common::median(f.over_ambient.clone());
    assert!((7.0..17.0).contains(&over), "condensing over ambient {over}");
    let air = common::median(f.air.clone());
    assert!((4.0..10.0).contains(&air), "air-side difference {air}");
    let evaporator = common::median(f.evaporator.clone());
    assert!((5.0..12.0).contains(&evaporator), "evaporator difference {evaporator}");
    assert!((0.25..0.9).contains(&f.duty), "run fraction {}", f.duty);
    assert!((0.3..6.0).contains(&f.starts_per_hour), "{} starts an hour", f.starts_per_hour);
    assert!((0.5..6.0).contains(&f.defrosts_per_day), "{} defrosts a day", f.defrosts_per_day);
    assert!(common::median(f.error.clone()) < 2.5, "box {:.1} K off", common::median(f.error.clone()));
    assert_eq!(f.alarms, 0);
}

#[test]
fn condensing_over_ambient_of_a_healthy_unit_differs_from_day_to_day_by_about_a_kelvin() {
    let f = common::figures(&common::one_unit(Service::FrozenDelivery, 60), 2);
    let days = &f.daily_over_ambient;
    let n = days.len() as f64;
    let mean = days.iter().sum::<f64>() / n;
    let sd = (days.iter().map(|d| (d - mean).powi(2)).sum::<f64>() / n).sqrt();
    assert!(days.len() > 30 && (0.5..1.8).contains(&sd), "{sd:.2} K over {n} days");
}
