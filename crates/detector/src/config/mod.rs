//! Every threshold, with its default, its range and its reason.
//!
//! The defaults are starting values of our own, to be tuned on a fleet's history; where a figure is common practice
//! or comes from a published source, its doc comment says so.

mod machine;
mod macros;
mod refrigeration;
mod sensors;

use serde::{Deserialize, Serialize};

pub use machine::{Baseline, Chart, Masks, Peers, Silence, Steady};
pub use refrigeration::{Cooling, Cycling, Discharge, PullDown};
pub use sensors::{Noise, Offset, OutOfRange, Spikes, Stuck, Twins};

/// Thresholds of all detectors.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Config {
    /// When observations are set aside.
    pub masks: Masks,
    /// When the unit is steady enough to compare.
    pub steady: Steady,
    /// How a unit's own normal is learned.
    pub baseline: Baseline,
    /// The chart that every daily value goes through.
    pub chart: Chart,
    /// Comparison with similar units on the same day.
    pub peers: Peers,
    /// Readings that cannot be; open and short circuits.
    pub out_of_range: OutOfRange,
    /// Sensors that stand still.
    pub stuck: Stuck,
    /// Sensors that jump away and back.
    pub spikes: Spikes,
    /// Sensors that became noisy.
    pub noise: Noise,
    /// Two sensors of one air stream.
    pub twins: Twins,
    /// Pressure transducers when the circuit is equalised.
    pub offset: Offset,
    /// Heat taken out of the air at full cooling.
    pub cooling: Cooling,
    /// Time to the set point.
    pub pull_down: PullDown,
    /// Compressor starts.
    pub cycling: Cycling,
    /// Condensing temperature over ambient.
    pub discharge: Discharge,
    /// Units that stopped reporting.
    pub silence: Silence,
}

/// A threshold outside the range in which the detectors make sense.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("detectors.{field} is {value}; it has to lie between {low} and {high}")]
pub struct ConfigError {
    /// The field, as written in the configuration.
    pub field: &'static str,
    /// What was given.
    pub value: f64,
    /// Lowest sensible value.
    pub low: f64,
    /// Highest sensible value.
    pub high: f64,
}

pub(crate) fn within(field: &'static str, value: f64, low: f64, high: f64) -> Result<(), ConfigError> {
    if (low..=high).contains(&value) { Ok(()) } else { Err(ConfigError { field, value, low, high }) }
}

impl Config {
    /// Checks every threshold against its range; the first one outside is the error.
    pub fn check(&self) -> Result<(), ConfigError> {
        self.masks.check()?;
        self.steady.check()?;
        self.baseline.check()?;
        self.chart.check()?;
        self.peers.check()?;
        self.out_of_range.check()?;
        self.stuck.check()?;
        self.spikes.check()?;
        self.noise.check()?;
        self.twins.check()?;
        self.offset.check()?;
        self.cooling.check()?;
        self.pull_down.check()?;
        self.cycling.check()?;
        self.discharge.check()?;
        self.silence.check()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_defaults_lie_inside_their_ranges() {
        assert_eq!(Config::default().check(), Ok(()));
    }

    #[test]
    fn a_threshold_outside_its_range_is_named_with_the_range() {
        let mut config = Config::default();
        config.chart.h = 0.0;
        let error = config.check().map_err(|e| e.to_string());
        assert_eq!(error, Err("detectors.chart.h is 0; it has to lie between 2 and 20".to_owned()));
        config.chart.h = f64::NAN;
        assert!(config.check().is_err(), "what is no number is outside every range");
    }
}
