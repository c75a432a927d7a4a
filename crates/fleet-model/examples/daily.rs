//! Daily figures of a fleet, to look at: `cargo run --release -p rimeline-fleet-model --example daily -- [demo] [unit]`.
//!
//! CTOA is condensing temperature over ambient, TD return air over evaporating temperature, `TDa` return over supply
//! air; all medians of readings at high speed, ten minutes and more after it began.
#![allow(clippy::print_stdout)]

use std::collections::BTreeMap;

use rimeline_channels::{Channel, DAY_MS, EventKind, Power, Reading, Stage};
use rimeline_fleet_model::{Delivery, Fleet, PressureReference, Refrigerant, Scenario, ScenarioError, Unit};

#[derive(Default)]
struct Day {
    over_ambient: Vec<f64>,
    evaporator: Vec<f64>,
    air: Vec<f64>,
    outside: Vec<f64>,
    error: Vec<f64>,
    readings: u32,
    on: u32,
    run: u32,
    first_start: Option<i32>,
    last_start: i32,
    defrosts: u32,
    alarms: Vec<String>,
}

fn median(values: &mut [f64]) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(f64::NAN)
}

/// Saturation temperature by the two-parameter law: a ruler for people, no more.
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

impl Day {
    fn add(&mut self, unit: &Unit, delivery: Delivery<'_>, steady: bool) {
        let r = delivery.reading;
        for event in delivery.events {
            match &event.kind {
                EventKind::StateChanged(s) if s.stage == Stage::Defrosting => self.defrosts += 1,
                EventKind::AlarmRaised(alarm) => self.alarms.push(alarm.code.clone()),
                _ => {}
            }
        }
        if let Some(starts) = r.fixed(Channel::CompressorStarts) {
            self.first_start.get_or_insert(starts);
            self.last_start = starts;
        }
        self.readings += 1;
        self.on += u32::from(r.state.power == Power::On);
        self.run += u32::from(r.state.compressor_running() == Some(true));
        self.outside.extend(r.quantity(Channel::AmbientAir));
        if let (Some(back), Some(set), Power::On) =
            (r.quantity(Channel::ReturnAirControl), r.quantity(Channel::SetPoint), r.state.power)
        {
            self.error.push(back - set);
        }
        if steady {
            self.add_steady(unit, r);
        }
    }

    fn add_steady(&mut self, unit: &Unit, r: &Reading) {
        let q = |c: Channel| r.quantity(c);
        let Some(back) = q(Channel::ReturnAirControl) else {
            return;
        };
        self.air.extend(q(Channel::SupplyAirControl).map(|supply| back - supply));
        if let (Some(pd), Some(ps), Some(outside)) =
            (q(Channel::DischargePressure), q(Channel::SuctionPressure), q(Channel::AmbientAir))
        {
            self.over_ambient.push(saturation(unit.refrigerant, absolute(unit, pd), true) - outside);
            self.evaporator.push(back - saturation(unit.refrigerant, absolute(unit, ps), false));
        }
    }

    fn print(&mut self, n: usize, unit: &Unit) -> Option<f64> {
        let hours = f64::from(self.on) * f64::from(unit.cadence_s) / 3600.0;
        let starts = f64::from(self.last_start - self.first_start.unwrap_or(0));
        let over = median(&mut self.over_ambient);
        println!(
            "{n:3} {:7.1} {over:6.1} ({:3}) {:6.2} {:6.2} {:5.2} {:6.2} {:5} {:8.2} {:5} {}",
            median(&mut self.outside),
            self.air.len(),
            median(&mut self.air),
            median(&mut self.evaporator),
            f64::from(self.run) / f64::from(self.on.max(1)),
            starts / hours.max(0.5),
            self.defrosts,
            median(&mut self.error),
            self.readings,
            self.alarms.join(" ")
        );
        (self.over_ambient.len() >= 3).then_some(over)
    }
}

fn main() -> Result<(), ScenarioError> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let only: Option<usize> = args.iter().find_map(|a| a.parse().ok());
    let demo = args.iter().any(|a| a == "demo");
    let scenario = if demo { Scenario::demo() } else { Scenario::small(10, 40, 3) };
    let fleet = Fleet::new(&scenario)?;
    let (units, truth) = (fleet.units().to_vec(), fleet.truth().to_vec());
    for (at, mut stream) in fleet.into_streams().into_iter().enumerate() {
        if only.is_some_and(|o| o != at) {
            continue;
        }
        let unit = &units[at];
        let mut days: BTreeMap<i64, Day> = BTreeMap::new();
        let mut high_since = None;
        while let Some(delivery) = stream.next_delivery() {
            let r = delivery.reading;
            high_since = (r.state.stage == Stage::CoolingHigh).then(|| high_since.unwrap_or(r.time));
            let steady = high_since.is_some_and(|since| r.time - since >= 600_000);
            days.entry(r.time.div_euclid(DAY_MS)).or_default().add(unit, delivery, steady);
        }
        let (fluid, cadence) = (unit.refrigerant.name(), unit.cadence_s);
        println!(
            "\n{} {} {:?} {fluid} {} {cadence} s {:?}",
            unit.id, unit.family, unit.service, unit.depot, unit.look_alikes
        );
        for t in truth.iter().filter(|t| t.unit == unit.id) {
            let day = (t.onset_ms - scenario.start) as f64 / DAY_MS as f64;
            println!("{:?} {:?} from day {day:.2}, peak {}", t.kind, t.channel, t.peak);
        }
        println!("day  outside  CTOA (n)    TDa     TD  duty starts/h defrosts error readings alarms");
        let over: Vec<f64> =
            days.values_mut().enumerate().filter_map(|(n, day)| day.print(n, unit)).collect();
        let n = over.len() as f64;
        let mean = over.iter().sum::<f64>() / n;
        let var = over.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / n;
        let lag = over.windows(2).map(|w| (w[0] - mean) * (w[1] - mean)).sum::<f64>() / n / var;
        println!("CTOA mean {mean:.2} sd {:.2} lag-1 {lag:.2} over {n} days", var.sqrt());
    }
    Ok(())
}
