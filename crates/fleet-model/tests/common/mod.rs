//! What the tests look at: daily and overall figures of one unit, as a perfect observer would take them.
#![allow(dead_code, clippy::unwrap_used, clippy::expect_used)]

use rimeline_channels::{Channel, DAY_MS, EventKind, Power, Reading, Stage};
use rimeline_fleet_model::{
    Course, Fault, FaultKind, Fleet, LookAlike, PressureReference, Refrigerant, Scenario, Service, UnitChoice,
};

/// A unit with every sensor that matters, R-452A, absolute pressures, 0.1 K.
pub(crate) fn full_unit(service: Service) -> UnitChoice {
    UnitChoice {
        unit: 0,
        service: Some(service),
        refrigerant: Some(Refrigerant::R452A),
        pressure_reference: Some(PressureReference::Absolute),
        resolution_k: Some(0.1),
        twins: Some(true),
        pressures: Some(true),
        ..UnitChoice::default()
    }
}

/// One such unit.
pub(crate) fn one_unit(service: Service, days: u32) -> Scenario {
    Scenario::small(1, days, 11).with_choice(full_unit(service))
}

/// One such unit that may look as if it failed.
pub(crate) fn odd_unit(service: Service, days: u32, look_alike: LookAlike) -> Scenario {
    let choice = UnitChoice { look_alikes: vec![look_alike], ..full_unit(service) };
    Scenario::small(1, days, 11).with_choice(choice)
}

/// A fault of unit 0 that is there at once.
pub(crate) fn step_fault(kind: FaultKind, channel: Option<Channel>, onset_day: f64, level: f64) -> Fault {
    let course = Course::Step(level);
    Fault { unit: 0, kind, channel, onset_day, course, breakdown_day: None, repaired_day: None }
}

/// All readings of unit 0.
pub(crate) fn readings(scenario: &Scenario) -> Vec<Reading> {
    let fleet = Fleet::new(scenario).unwrap();
    let mut stream = fleet.into_streams().remove(0);
    let mut all = Vec::new();
    while let Some(delivery) = stream.next_delivery() {
        all.push(delivery.reading.clone());
    }
    all
}

pub(crate) fn median(mut values: Vec<f64>) -> f64 {
    assert!(!values.is_empty(), "nothing to take a median of");
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

/// R-452A saturation temperature by a two-parameter law.
pub(crate) fn saturation(kpa: f64, high: bool) -> f64 {
    let (a, b) = if high { (15.1427, 2390.61) } else { (15.3956, 2478.69) };
    b / (a - kpa.max(1.0).ln()) - 273.15
}

/// Figures over a stretch of days.
#[derive(Debug, Default)]
pub(crate) struct Figures {
    pub(crate) over_ambient: Vec<f64>,
    pub(crate) over_ambient_by_sun: Vec<f64>,
    pub(crate) over_ambient_by_night: Vec<f64>,
    pub(crate) evaporator: Vec<f64>,
    pub(crate) air: Vec<f64>,
    pub(crate) twins: Vec<f64>,
    pub(crate) equalised: Vec<f64>,
    pub(crate) error: Vec<f64>,
    pub(crate) daily_over_ambient: Vec<f64>,
    pub(crate) duty: f64,
    pub(crate) starts_per_hour: f64,
    pub(crate) defrosts_per_day: f64,
    pub(crate) alarms: u32,
    pub(crate) readings: u32,
}

/// Runs a scenario of one [`full_unit`] and takes its figures from `from_day` on.
pub(crate) fn figures(scenario: &Scenario, from_day: i64) -> Figures {
    let mut fleet = Fleet::new(scenario).unwrap();
    let cadence_h = f64::from(fleet.units()[0].cadence_s) / 3600.0;
    let mut f = Figures::default();
    let (mut on, mut run, mut defrosts) = (0u32, 0u32, 0u32);
    let (mut high_since, mut rest_since, mut first_start) = (None, None, None);
    let mut last_start = 0;
    let mut day = (0, Vec::new());
    while let Some(delivery) = fleet.next_delivery() {
        let r = delivery.reading;
        if r.time < scenario.start + from_day * DAY_MS {
            continue;
        }
        f.readings += 1;
        on += u32::from(r.state.power == Power::On);
        run += u32::from(r.state.compressor_running() == Some(true));
        for event in delivery.events {
            match &event.kind {
                EventKind::StateChanged(s) if s.stage == Stage::Defrosting => defrosts += 1,
                EventKind::AlarmRaised(_) => f.alarms += 1,
                _ => {}
            }
        }
        last_start = r.fixed(Channel::CompressorStarts).unwrap();
        first_start.get_or_insert(last_start);
        let q = |c: Channel| r.quantity(c);
        let (Some(back), Some(check), Some(supply), Some(pd), Some(ps), Some(out)) = (
            q(Channel::ReturnAirControl),
            q(Channel::ReturnAirCheck),
            q(Channel::SupplyAirCheck),
            q(Channel::DischargePressure),
            q(Channel::SuctionPressure),
            q(Channel::AmbientAir),
        ) else {
            continue;
        };
        if r.state.power == Power::On {
            f.error.push(check - q(Channel::SetPoint).unwrap());
        }
        high_since = (r.state.stage == Stage::CoolingHigh).then(|| high_since.unwrap_or(r.time));
        let still = r.state.compressor_running() != Some(true);
        rest_since = still.then(|| rest_since.unwrap_or(r.time));
        if rest_since.is_some_and(|s| r.time - s >= 1_800_000) {
            f.equalised.push(pd - ps);
        }
        if high_since.is_some_and(|s| r.time - s >= 600_000) {
            let over = saturation(pd, true) - out;
            f.over_ambient.push(over);
            // Local time of the small scenario is an hour ahead of UTC.
            let hour = (r.time + 3_600_000).rem_euclid(DAY_MS) / 3_600_000;
            match hour {
                10..=16 => f.over_ambient_by_sun.push(over),
                22.. | 0..=3 => f.over_ambient_by_night.push(over),
                _ => {}
            }
            f.evaporator.push(check - saturation(ps, false));
            f.air.push(check - supply);
            f.twins.push(back - check);
            let today = r.time.div_euclid(DAY_MS);
            if today != day.0 {
                let whole = std::mem::replace(&mut day, (today, Vec::new())).1;
                if whole.len() >= 3 {
                    f.daily_over_ambient.push(median(whole));
                }
            }
            day.1.push(over);
        }
    }
    let hours = f64::from(on) * cadence_h;
    f.duty = f64::from(run) / f64::from(on.max(1));
    f.starts_per_hour = f64::from(last_start - first_start.unwrap_or(0)) / hours.max(1.0);
    f.defrosts_per_day = f64::from(defrosts) / hours.max(1.0) * 24.0;
    f
}
