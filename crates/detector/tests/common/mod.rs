#![allow(dead_code, unreachable_pub, clippy::unwrap_used, clippy::expect_used)]

use std::path::PathBuf;

use rimeline_channels::{Reading, UnixMs};
use rimeline_detector::{Config, Fleet, Mark, Output, Signal, Standing, UnitSetup, UnitState};

/// A folder of measured data: from the variable, else beside the repository. `None`, with a printed reason: not there.
#[allow(clippy::print_stderr)]
pub fn measured(variable: &str, beside: &str, file: &str) -> Option<PathBuf> {
    let root = std::env::var_os(variable).map_or_else(
        || PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../..").join(beside),
        PathBuf::from,
    );
    let path = root.join(file);
    if path.exists() {
        return Some(path);
    }
    eprintln!("skipped: there is no {}; set {variable}", path.display());
    None
}

/// One unit, its setup and what was said about it.
pub struct Watched {
    pub state: UnitState,
    pub setup: UnitSetup,
    pub config: Config,
    pub signals: Vec<Signal>,
    pub marks: Vec<Mark>,
    out: Output,
}

impl Watched {
    pub fn new(setup: UnitSetup) -> Self {
        Self {
            state: UnitState::new(),
            setup,
            config: Config::default(),
            signals: Vec::new(),
            marks: Vec::new(),
            out: Output::default(),
        }
    }

    pub fn observe(&mut self, reading: &Reading, fleet: &mut Fleet) {
        self.out.clear();
        self.state.observe(reading, &self.setup, &self.config, fleet, &mut self.out);
        self.signals.append(&mut self.out.signals);
        self.marks.append(&mut self.out.marks);
    }

    pub fn tick(&mut self, now: UnixMs) {
        self.out.clear();
        self.state.tick(now, &self.setup, &self.config, &mut self.out);
        self.signals.append(&mut self.out.signals);
    }

    pub fn opened(&self) -> Vec<&Signal> {
        self.signals.iter().filter(|s| matches!(s.standing, Standing::Open | Standing::Escalated)).collect()
    }

    pub fn told(&self) -> Vec<String> {
        self.signals.iter().map(told).collect()
    }
}

pub fn told(s: &Signal) -> String {
    format!(
        "{} {:?} {} {:?} onset {} strength {:.2} p {:.2}: {}\n    {}",
        s.at,
        s.standing,
        s.condition,
        s.channel,
        s.onset,
        s.strength,
        s.confidence,
        s.headline,
        s.evidence.statements.join("\n    ")
    )
}

/// What a registry would hold of a simulated unit.
pub fn setup_of(unit: &rimeline_fleet_model::Unit) -> UnitSetup {
    use rimeline_refrigerant::{PressureReference, Refrigerant};
    let refrigerant = format!("{:?}", unit.refrigerant);
    let known = [
        Refrigerant::R134a,
        Refrigerant::R404A,
        Refrigerant::R410A,
        Refrigerant::R448A,
        Refrigerant::R449A,
        Refrigerant::R452A,
        Refrigerant::R744,
    ];
    let reference = format!("{:?}", unit.pressure_reference);
    let references =
        [PressureReference::VentedGauge, PressureReference::SealedGauge, PressureReference::Absolute];
    UnitSetup {
        refrigerant: known.into_iter().find(|r| format!("{r:?}") == refrigerant),
        pressure_reference: references.into_iter().find(|r| format!("{r:?}") == reference),
        altitude_m: unit.altitude_m,
        fitted: unit.fitted.clone(),
        cut_out_kpa: Some(unit.cut_out_kpa),
        cadence_s: None,
        family: unit.family.clone(),
        load: None,
    }
}

/// A simulated fleet and everything that was said about each unit.
pub struct Played {
    pub model: rimeline_fleet_model::Fleet,
    pub units: Vec<Watched>,
    pub readings: u64,
}

/// Hands a delivery to its unit: events first.
pub fn deliver(unit: &mut Watched, delivery: &rimeline_fleet_model::Delivery<'_>, fleet: &mut Fleet) {
    unit.out.clear();
    for event in delivery.events {
        unit.state.event(&event.kind, event.time, &unit.setup, &unit.config, &mut unit.out);
    }
    unit.signals.append(&mut unit.out.signals);
    unit.observe(delivery.reading, fleet);
}

/// Plays a scenario to its end through the detectors, in order of arrival, with a tick for each reading.
pub fn play(scenario: &rimeline_fleet_model::Scenario) -> Played {
    let mut model = rimeline_fleet_model::Fleet::new(scenario).unwrap();
    let mut units: Vec<Watched> = model.units().iter().map(|u| Watched::new(setup_of(u))).collect();
    let mut fleet = Fleet::new();
    let mut readings = 0;
    let mut next_tick = scenario.start;
    while let Some(delivery) = model.next_delivery() {
        readings += 1;
        let arrived = delivery.arrived;
        deliver(&mut units[delivery.unit], &delivery, &mut fleet);
        if arrived >= next_tick {
            next_tick = arrived + 10 * rimeline_channels::MINUTE_MS;
            for unit in &mut units {
                unit.tick(arrived);
            }
        }
    }
    Played { model, units, readings }
}
