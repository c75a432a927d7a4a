//! Readings of some 35 channels through every detector, on one core.

use divan::{Bencher, counter::ItemsCount};
use rimeline_channels::Reading;
use rimeline_detector::{Config, Fleet, Output, UnitSetup, UnitState};
use rimeline_fleet_model::{Scenario, Service, UnitChoice};
use rimeline_refrigerant::{PressureReference, Refrigerant};

fn main() {
    divan::main();
}

/// Two days of one-minute readings of a unit with every sensor fitted, and a state that has seen 30 days before them.
fn recorded() -> (UnitState, UnitSetup, Vec<Reading>) {
    let scenario = Scenario::small(1, 32, 4).with_choice(UnitChoice {
        service: Some(Service::FrozenDelivery),
        cadence_s: Some(60),
        twins: Some(true),
        pressures: Some(true),
        ..UnitChoice::default()
    });
    let Ok(mut model) = rimeline_fleet_model::Fleet::new(&scenario) else { return Default::default() };
    let unit = &model.units()[0];
    let setup = UnitSetup {
        refrigerant: Some(Refrigerant::R452A),
        pressure_reference: Some(PressureReference::SealedGauge),
        fitted: unit.fitted.clone(),
        family: unit.family.clone(),
        ..UnitSetup::default()
    };
    let (mut state, mut fleet, mut out) = (UnitState::new(), Fleet::new(), Output::default());
    let mut readings = Vec::new();
    while let Some(delivery) = model.next_delivery() {
        if delivery.reading.time < scenario.day_ms(30.0) {
            state.observe(delivery.reading, &setup, &Config::default(), &mut fleet, &mut out);
            out.clear();
        } else {
            readings.push(delivery.reading.clone());
        }
    }
    (state, setup, readings)
}

#[divan::bench(sample_count = 50)]
fn observe(bencher: Bencher<'_, '_>) {
    let (state, setup, readings) = recorded();
    let config = Config::default();
    bencher
        .counter(ItemsCount::new(readings.len()))
        .with_inputs(|| (state.clone(), Fleet::new(), Output::default()))
        .bench_values(|(mut state, mut fleet, mut out)| {
            for reading in &readings {
                state.observe(reading, &setup, &config, &mut fleet, &mut out);
            }
            (state, out)
        });
}

#[divan::bench]
fn to_bytes(bencher: Bencher<'_, '_>) {
    let (state, ..) = recorded();
    bencher.bench(|| state.to_bytes());
}

#[divan::bench]
fn from_bytes(bencher: Bencher<'_, '_>) {
    let bytes = recorded().0.to_bytes();
    bencher.bench(|| UnitState::from_bytes(&bytes).is_ok());
}
