//! What each fault does to the features people look at, against the same unit without it:
//! `cargo run --release -p rimeline-fleet-model --example faults`.
#![allow(clippy::print_stdout)]

use rimeline_channels::{Channel, DAY_MS, EventKind, Power, Stage};
use rimeline_fleet_model::{
    Course, Fault, FaultKind, Fleet, PressureReference, Refrigerant, Scenario, ScenarioError, Service,
    UnitChoice,
};

#[derive(Default)]
struct Features {
    over_ambient: Vec<f64>,
    evaporator: Vec<f64>,
    air: Vec<f64>,
    twins: Vec<f64>,
    equalised: Vec<f64>,
    error: Vec<f64>,
    readings: u32,
    on: u32,
    run: u32,
    starts: (Option<i32>, i32),
    defrosts: u32,
    alarms: u32,
    absent: u32,
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(f64::NAN)
}

/// Temperature of R-452A by the two-parameter law.
fn saturation(kpa: f64, high: bool) -> f64 {
    let (a, b) = if high { (15.1427, 2390.61) } else { (15.3956, 2478.69) };
    b / (a - kpa.max(1.0).ln()) - 273.15
}

fn run(fault: Option<Fault>, service: Service, from_day: i64) -> Result<Features, ScenarioError> {
    let choice = UnitChoice {
        unit: 0,
        service: Some(service),
        refrigerant: Some(Refrigerant::R452A),
        pressure_reference: Some(PressureReference::Absolute),
        resolution_k: Some(0.1),
        twins: Some(true),
        pressures: Some(true),
        ..UnitChoice::default()
    };
    let mut scenario = Scenario::small(1, 34, 11).with_choice(choice);
    scenario.faults.extend(fault);
    let mut fleet = Fleet::new(&scenario)?;
    let mut f = Features::default();
    let mut high_since = None;
    let mut rest_since = None;
    while let Some(delivery) = fleet.next_delivery() {
        let r = delivery.reading;
        if r.time < scenario.start + from_day * DAY_MS {
            continue;
        }
        f.readings += 1;
        f.on += u32::from(r.state.power == Power::On);
        f.run += u32::from(r.state.compressor_running() == Some(true));
        for event in delivery.events {
            match &event.kind {
                EventKind::StateChanged(s) if s.stage == Stage::Defrosting => f.defrosts += 1,
                EventKind::AlarmRaised(_) => f.alarms += 1,
                _ => {}
            }
        }
        let q = |c: Channel| r.quantity(c);
        if let Some(starts) = r.fixed(Channel::CompressorStarts) {
            f.starts = (f.starts.0.or(Some(starts)), starts);
        }
        let (Some(back), Some(check), Some(supply), Some(pd), Some(ps), Some(out)) = (
            q(Channel::ReturnAirControl),
            q(Channel::ReturnAirCheck),
            q(Channel::SupplyAirCheck),
            q(Channel::DischargePressure),
            q(Channel::SuctionPressure),
            q(Channel::AmbientAir),
        ) else {
            f.absent += 1;
            continue;
        };
        if r.state.power == Power::On {
            f.error.push(check - q(Channel::SetPoint).unwrap_or(0.0));
        }
        high_since = (r.state.stage == Stage::CoolingHigh).then(|| high_since.unwrap_or(r.time));
        let still = r.state.compressor_running() != Some(true);
        rest_since = still.then(|| rest_since.unwrap_or(r.time));
        if rest_since.is_some_and(|s| r.time - s >= 900_000) {
            f.equalised.push(pd - ps);
        }
        if high_since.is_some_and(|s| r.time - s >= 600_000) {
            f.over_ambient.push(saturation(pd, true) - out);
            f.evaporator.push(check - saturation(ps, false));
            f.air.push(check - supply);
            f.twins.push(back - check);
        }
    }
    Ok(f)
}

fn print(name: &str, f: Features) {
    let hours = f64::from(f.on) / 12.0;
    let n = f.air.len();
    println!(
        "{name:34} {n:4} {:6.1} {:6.2} {:6.2} {:6.2} {:7.1} {:5.2} {:6.2} {:5.2} {:5} {:5} {:6.1} {:6}",
        median(f.over_ambient),
        median(f.evaporator),
        median(f.air),
        median(f.twins),
        median(f.equalised),
        f64::from(f.run) / f64::from(f.on.max(1)),
        f64::from(f.starts.1 - f.starts.0.unwrap_or(0)) / hours.max(1.0),
        f64::from(f.defrosts) / hours.max(1.0) * 24.0,
        f.alarms,
        f.absent,
        median(f.error),
        f.readings
    );
}

fn main() -> Result<(), ScenarioError> {
    println!("days 20 to 34, fault at full intensity from day 18 unless a share is given");
    println!(
        "                                      n   CTOA evapTD    TDa  twins    equal  duty starts defr/d alarm absent  error readings"
    );
    for service in [Service::FrozenDelivery, Service::FrozenLongHaul, Service::ChilledDelivery] {
        print(&format!("{service:?} healthy"), run(None, service, 20)?);
        for kind in FaultKind::ALL {
            for level in [0.25, 0.5, 0.75, 1.0] {
                if (kind.of_a_channel()
                    || matches!(kind, FaultKind::GatewaySilent | FaultKind::LeftOffAfterDefrost))
                    && level < 1.0
                {
                    continue;
                }
                let channel = match kind {
                    FaultKind::PressureOffset => Some(Channel::DischargePressure),
                    k if k.of_a_channel() => Some(Channel::ReturnAirControl),
                    _ => None,
                };
                let course = Course::Step(level);
                let onset_day = if kind == FaultKind::GatewaySilent { 25.0 } else { 18.0 };
                let fault = Fault {
                    unit: 0,
                    kind,
                    channel,
                    onset_day,
                    course,
                    breakdown_day: None,
                    repaired_day: None,
                };
                print(&format!("  {kind:?} {level}"), run(Some(fault), service, 20)?);
            }
        }
    }
    Ok(())
}
