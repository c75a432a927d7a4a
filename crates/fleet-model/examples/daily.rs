//! Daily figures of a fleet, to look at: `cargo run --release -p rimeline-fleet-model --example daily -- [demo] [unit]`.
//!
//! Condensing temperature is found by halving the interval of the model's own law through the public readings, so the
//! figures are what a perfect observer would see.
#![allow(clippy::print_stdout)]

use std::collections::BTreeMap;

use rimeline_channels::{Channel, DAY_MS, EventKind, Stage};
use rimeline_fleet_model::{Fleet, PressureReference, Refrigerant, Scenario, ScenarioError, Unit};

#[derive(Default)]
struct Day {
    over_ambient: Vec<f64>,
    evaporator: Vec<f64>,
    air: Vec<f64>,
    outside: Vec<f64>,
    on: u32,
    run: u32,
    starts: (Option<i32>, i32),
    defrosts: u32,
    box_error: Vec<f64>,
    alarms: u32,
}

fn median(values: &mut [f64]) -> f64 {
    if values.is_empty() {
        return f64::NAN;
    }
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

/// Two-parameter law again, as a rough ruler for people.
fn saturation(fluid: Refrigerant, kpa: f64, high: bool) -> f64 {
    let (a, b) = match (fluid, high) {
        (Refrigerant::R134a, false) => (15.7541, 2752.47),
        (Refrigerant::R134a, true) => (15.3383, 2635.20),
        (Refrigerant::R404A, false) => (15.2145, 2408.69),
        (Refrigerant::R404A, true) => (15.0758, 2369.34),
        (Refrigerant::R449A, false) => (15.6444, 2570.25),
        (Refrigerant::R449A, true) => (15.2333, 2430.71),
        (Refrigerant::R452A, false) => (15.3956, 2478.69),
        (Refrigerant::R452A, true) => (15.1427, 2390.61),
    };
    b / (a - kpa.max(1.0).ln()) - 273.15
}

fn absolute(unit: &Unit, kpa: f64) -> f64 {
    match unit.pressure_reference {
        PressureReference::Absolute => kpa,
        PressureReference::SealedGauge => kpa + 101.325,
        PressureReference::VentedGauge => kpa + 101.325 * (-unit.altitude_m / 8400.0).exp(),
    }
}

fn main() -> Result<(), ScenarioError> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let demo = args.iter().any(|a| a == "demo");
    let only: Option<usize> = args.iter().find_map(|a| a.parse().ok());
    let scenario = if demo {
        Scenario::demo()
    } else {
        Scenario::small(10, 40, 3)
    };
    let fleet = Fleet::new(&scenario)?;
    let units = fleet.units().to_vec();
    for truth in fleet.truth() {
        println!("{} {:?} {:?}", truth.unit, truth.kind, truth.channel);
    }
    for (unit, mut stream) in units
        .iter()
        .zip(fleet.into_streams())
        .enumerate()
        .filter(|(i, _)| only.is_none_or(|o| o == *i))
        .map(|(_, p)| p)
    {
        let mut days: BTreeMap<i64, Day> = BTreeMap::new();
        let mut codes: BTreeMap<String, u32> = BTreeMap::new();
        let mut cooling_since: Option<i64> = None;
        while let Some(delivery) = stream.next_delivery() {
            let r = delivery.reading;
            let day = days.entry(r.time.div_euclid(DAY_MS)).or_default();
            for event in delivery.events {
                match &event.kind {
                    EventKind::StateChanged(s) if s.stage == Stage::Defrosting => day.defrosts += 1,
                    EventKind::AlarmRaised(a) => {
                        day.alarms += 1;
                        *codes.entry(a.code.clone()).or_insert(0) += 1;
                    }
                    _ => {}
                }
            }
            if let Some(starts) = r.fixed(Channel::CompressorStarts) {
                day.starts = (day.starts.0.or(Some(starts)), starts);
            }
            let on = r.state.power == rimeline_channels::Power::On;
            day.on += u32::from(on);
            day.run += u32::from(r.state.compressor_running() == Some(true));
            let q = |c: Channel| r.quantity(c);
            let (Some(back), Some(supply), Some(outside)) = (
                q(Channel::ReturnAirControl),
                q(Channel::SupplyAirControl),
                q(Channel::AmbientAir),
            ) else {
                continue;
            };
            day.outside.push(outside);
            if on && let Some(set) = q(Channel::SetPoint) {
                day.box_error.push(back - set);
            }
            if r.state.stage == Stage::CoolingHigh {
                let since = *cooling_since.get_or_insert(r.time);
                if r.time - since >= 600_000 && (back - supply) > 0.0 {
                    day.air.push(back - supply);
                    if let (Some(pd), Some(ps)) = (q(Channel::DischargePressure), q(Channel::SuctionPressure))
                    {
                        day.over_ambient
                            .push(saturation(unit.refrigerant, absolute(unit, pd), true) - outside);
                        day.evaporator
                            .push(back - saturation(unit.refrigerant, absolute(unit, ps), false));
                    }
                }
            } else {
                cooling_since = None;
            }
        }
        println!(
            "\n{} {:?} {:?} {} {} cadence {}",
            unit.id,
            unit.body,
            unit.service,
            unit.refrigerant.name(),
            unit.depot,
            unit.cadence_s
        );
        println!("day  outside  CTOA (n)   TDa  evapTD  duty starts/h defrosts boxerr alarms");
        let mut steady = Vec::new();
        for (n, day) in days.values_mut().enumerate() {
            let hours = f64::from(day.on) * f64::from(unit.cadence_s) / 3600.0;
            let starts = f64::from(day.starts.1 - day.starts.0.unwrap_or(0));
            let ctoa = median(&mut day.over_ambient);
            if day.over_ambient.len() >= 3 {
                steady.push(ctoa);
            }
            println!(
                "{n:3} {:7.1} {:6.1} ({:3}) {:6.2} {:6.2} {:5.2} {:6.2} {:5} {:8.2} {:4}",
                median(&mut day.outside),
                ctoa,
                day.over_ambient.len(),
                median(&mut day.air),
                median(&mut day.evaporator),
                f64::from(day.run) / f64::from(day.on.max(1)),
                starts / hours.max(0.5),
                day.defrosts,
                median(&mut day.box_error),
                day.alarms
            );
        }
        let n = steady.len() as f64;
        let mean = steady.iter().sum::<f64>() / n;
        let var = steady.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / n;
        let lag = steady
            .windows(2)
            .map(|w| (w[0] - mean) * (w[1] - mean))
            .sum::<f64>()
            / n
            / var;
        println!(
            "CTOA mean {mean:.2} sd {:.2} lag-1 {lag:.2} over {n} days",
            var.sqrt()
        );
    }
    Ok(())
}
