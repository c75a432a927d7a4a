use rimeline_channels::UnixMs;
use serde::{Deserialize, Serialize};

use crate::{Fault, LookAlike, PressureReference, Refrigerant, Service};

/// Everything that decides what a simulated fleet does. Two equal scenarios give equal readings on one machine.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Scenario {
    /// Name.
    pub name: String,
    /// Seed of all chance.
    pub seed: u64,
    /// Start, a midnight in UTC.
    pub start: UnixMs,
    /// Length, days.
    pub days: u32,
    /// How many units; they are named `T-001` and so on and spread evenly over the depots.
    pub units: u32,
    /// Time between readings, by share of the units; shares are relative. Empty: 5 minutes.
    #[serde(default)]
    pub cadences: Vec<CadenceShare>,
    /// Depots, each with its own weather. At least one.
    pub depots: Vec<Depot>,
    /// Units that are not left to chance.
    #[serde(default)]
    pub choices: Vec<UnitChoice>,
    /// Faults.
    #[serde(default)]
    pub faults: Vec<Fault>,
}

/// How many of the units report how often.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CadenceShare {
    /// Time between readings, s; a multiple of 60.
    pub cadence_s: u32,
    /// Share of the units.
    pub share: f64,
}

/// A home of units, and the weather around it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Depot {
    /// Name.
    pub name: String,
    /// Time zone in the public time zone database.
    pub time_zone: String,
    /// Hours that local time is ahead of UTC.
    pub utc_offset_h: f64,
    /// Altitude, m.
    pub altitude_m: f64,
    /// Mean air temperature at the start, Cel.
    pub mean_c: f64,
    /// How much the mean rises over the scenario, K.
    pub season_k: f64,
    /// Half of the usual difference between afternoon and early morning, K.
    pub diurnal_k: f64,
    /// Standard deviation of spells of warm and cool weather, K.
    pub spells_k: f64,
    /// Mean relative humidity, 0 to 1.
    pub humidity: f64,
    /// Heat waves.
    #[serde(default)]
    pub heat_waves: Vec<HeatWave>,
}

/// Days that are hotter than the season.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct HeatWave {
    /// First day.
    pub from_day: f64,
    /// How many days.
    pub days: f64,
    /// How much hotter at its height, K.
    pub above_k: f64,
}

/// Properties of one unit that are chosen; what is left out is drawn.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct UnitChoice {
    /// Index of the unit.
    pub unit: u32,
    /// Work.
    pub service: Option<Service>,
    /// Time between readings, s.
    pub cadence_s: Option<u32>,
    /// Refrigerant.
    pub refrigerant: Option<Refrigerant>,
    /// What zero means for its pressure channels.
    pub pressure_reference: Option<PressureReference>,
    /// Resolution of its air temperature channels, K.
    pub resolution_k: Option<f64>,
    /// Whether second sensors of both air streams and a coil sensor are fitted.
    pub twins: Option<bool>,
    /// Whether pressure transducers are fitted.
    pub pressures: Option<bool>,
    /// Whether a motor for shore power is fitted.
    pub shore: Option<bool>,
    /// What about it may look like a fault.
    pub look_alikes: Vec<LookAlike>,
}

/// A scenario that cannot be simulated.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("scenario `{scenario}`: {problem}")]
pub struct ScenarioError {
    scenario: String,
    problem: String,
}

impl Scenario {
    /// The most units of one scenario.
    pub const MOST_UNITS: u32 = 20_000;
    /// The longest scenario, days.
    pub const MOST_DAYS: u32 = 3_660;

    /// Checks that the scenario can be simulated.
    pub fn check(&self) -> Result<(), ScenarioError> {
        let fail = |problem: String| Err(ScenarioError { scenario: self.name.clone(), problem });
        if !(1..=Self::MOST_UNITS).contains(&self.units) {
            return fail(format!("{} units; 1 to {} can be simulated", self.units, Self::MOST_UNITS));
        }
        if !(1..=Self::MOST_DAYS).contains(&self.days) {
            return fail(format!("{} days; 1 to {} can be simulated", self.days, Self::MOST_DAYS));
        }
        if self.depots.is_empty() {
            return fail("there is no depot; give at least one".to_owned());
        }
        for depot in &self.depots {
            let figures = [
                depot.utc_offset_h,
                depot.altitude_m,
                depot.mean_c,
                depot.season_k,
                depot.diurnal_k,
                depot.spells_k,
                depot.humidity,
            ];
            if figures.iter().any(|f| !f.is_finite()) || !(0.0..=1.0).contains(&depot.humidity) {
                return fail(format!("depot `{}` has a figure that is no climate", depot.name));
            }
        }
        let cadences = self.cadences.iter().map(|c| c.cadence_s);
        let chosen = self.choices.iter().filter_map(|c| c.cadence_s);
        if let Some(bad) = cadences.chain(chosen).find(|&s| s == 0 || s % 60 != 0 || s > 86_400) {
            return fail(format!(
                "a cadence of {bad} s; it has to be a whole number of minutes, at most a day"
            ));
        }
        if self.cadences.iter().any(|c| !(c.share.is_finite() && c.share >= 0.0)) {
            return fail("a cadence share is negative or no number".to_owned());
        }
        if let Some(choice) = self.choices.iter().find(|c| c.unit >= self.units) {
            return fail(format!("a choice for unit {} of {}", choice.unit, self.units));
        }
        self.faults.iter().try_for_each(|fault| {
            self.check_fault(fault).map_err(|problem| ScenarioError { scenario: self.name.clone(), problem })
        })
    }

    fn check_fault(&self, fault: &Fault) -> Result<(), String> {
        let what = format!("fault {:?} of unit {}", fault.kind, fault.unit);
        if fault.unit >= self.units {
            return Err(format!("{what}: there are {} units, counted from 0", self.units));
        }
        if fault.kind.of_a_channel() != fault.channel.is_some() {
            let need = if fault.channel.is_some() { "takes no channel" } else { "needs a channel" };
            return Err(format!("{what}: it {need}"));
        }
        if !(0.0..=1.0).contains(&fault.course.peak()) {
            return Err(format!("{what}: intensity {} is outside 0 to 1", fault.course.peak()));
        }
        let days = [Some(fault.onset_day), fault.breakdown_day, fault.repaired_day];
        if days.into_iter().flatten().any(|d| !(d.is_finite() && d >= 0.0)) {
            return Err(format!("{what}: a day is negative or no number"));
        }
        if days[1..].iter().flatten().any(|&d| d < fault.onset_day) {
            return Err(format!("{what}: breakdown or repair before its onset"));
        }
        Ok(())
    }

    /// Milliseconds since 1970 of a day of the scenario.
    pub fn day_ms(&self, day: f64) -> UnixMs {
        self.start + (day * rimeline_channels::DAY_MS as f64).round() as i64
    }

    /// The scenario's end.
    pub fn end(&self) -> UnixMs {
        self.day_ms(f64::from(self.days))
    }
}
