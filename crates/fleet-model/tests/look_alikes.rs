//! Healthy units that look as if they failed do so for the reason they are meant to.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod common;

use common::{figures, median, odd_unit, one_unit};
use rimeline_channels::{Channel, MINUTE_MS};
use rimeline_fleet_model::{Fleet, HeatWave, LookAlike, Scenario, Service, UnitChoice};

const DAYS: u32 = 24;

/// Change of the mean of condensing over ambient by day and by night.
fn by_day_and_night(look_alike: LookAlike) -> (f64, f64) {
    let plain = figures(&one_unit(Service::FrozenLongHaul, 40), 2);
    let odd = figures(&odd_unit(Service::FrozenLongHaul, 40, look_alike), 2);
    let mean = |v: &[f64]| v.iter().sum::<f64>() / v.len() as f64;
    (
        mean(&odd.over_ambient_by_sun) - mean(&plain.over_ambient_by_sun),
        mean(&odd.over_ambient_by_night) - mean(&plain.over_ambient_by_night),
    )
}

#[test]
fn parking_nose_to_tail_raises_condensing_temperature_by_day_only() {
    let (by_day, by_night) = by_day_and_night(LookAlike::NoseToTail);
    assert!(by_day > 0.6, "{by_day} by day");
    assert!(by_night.abs() < 0.3, "{by_night} by night");
}

#[test]
fn sun_on_the_ambient_probe_hides_condensing_temperature_by_day_only() {
    let (by_day, by_night) = by_day_and_night(LookAlike::SunnyAmbientProbe);
    assert!(by_day < -0.6, "{by_day} by day");
    assert!(by_night.abs() < 0.3, "{by_night} by night");
}

#[test]
fn a_tight_band_starts_more_often_but_not_madly() {
    let plain = figures(&one_unit(Service::FrozenLongHaul, DAYS), 2);
    let tight = figures(&odd_unit(Service::FrozenLongHaul, DAYS, LookAlike::TightBand), 2);
    assert!(tight.starts_per_hour > 1.5 * plain.starts_per_hour, "{}", tight.starts_per_hour);
    assert!(tight.starts_per_hour < 6.0, "{}", tight.starts_per_hour);
}

#[test]
fn warm_loads_keep_the_unit_busy_at_its_usual_capacity() {
    let plain = figures(&one_unit(Service::FrozenLongHaul, DAYS), 2);
    let warm = figures(&odd_unit(Service::FrozenLongHaul, DAYS, LookAlike::WarmLoads), 2);
    assert!(warm.duty > plain.duty + 0.08, "{} {}", warm.duty, plain.duty);
    assert!((median(warm.air) / median(plain.air) - 1.0).abs() < 0.15);
}

#[test]
fn gaps_in_coverage_delay_readings_without_losing_or_reordering_any() {
    let scenario = odd_unit(Service::FreshLongHaul, 20, LookAlike::CoverageGaps);
    let mut fleet = Fleet::new(&scenario).unwrap();
    let (mut count, mut late, mut last) = (0, 0, 0);
    while let Some(delivery) = fleet.next_delivery() {
        assert!(delivery.reading.time > last);
        last = delivery.reading.time;
        count += 1;
        late += u32::from(delivery.arrived - delivery.reading.time > 60 * MINUTE_MS);
    }
    assert_eq!(count, 20 * 288);
    assert!(late > 50, "{late} late readings");
}

#[test]
fn a_heat_wave_is_hot_while_it_lasts() {
    let mut scenario = one_unit(Service::FrozenLongHaul, 12);
    let cool = common::readings(&scenario);
    scenario.depots[0].heat_waves.push(HeatWave { from_day: 5.0, days: 4.0, above_k: 10.0 });
    let hot = common::readings(&scenario);
    let mean = |all: &[rimeline_channels::Reading], from: f64, to: f64| {
        let (from, to) = (scenario.day_ms(from), scenario.day_ms(to));
        let values: Vec<_> = all
            .iter()
            .filter(|r| (from..to).contains(&r.time))
            .map(|r| r.quantity(Channel::AmbientAir).unwrap())
            .collect();
        values.iter().sum::<f64>() / values.len() as f64
    };
    assert!(mean(&hot, 6.0, 8.0) - mean(&cool, 6.0, 8.0) > 8.0);
    assert!((mean(&hot, 1.0, 4.0) - mean(&cool, 1.0, 4.0)).abs() < 0.01);
}

#[test]
fn every_cadence_gives_its_number_of_readings() {
    for cadence_s in [60, 120, 300, 900] {
        let choice = UnitChoice { cadence_s: Some(cadence_s), ..UnitChoice::default() };
        let all = common::readings(&Scenario::small(1, 2, 3).with_choice(choice));
        assert_eq!(all.len() as u32, 2 * 86_400 / cadence_s);
        assert!(all.windows(2).all(|w| w[1].time - w[0].time == i64::from(cadence_s) * 1000));
    }
}
