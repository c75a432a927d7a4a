//! What a finding on starts rests on, and why there may be none.

use super::{Counted, Cycling, Past};
use crate::config::Config;
use crate::evidence::Because;
use crate::stand::Words;
use crate::stats::expected_observed_starts;

impl Cycling {
    /// Where the last judged day stands, in words.
    pub(crate) fn said(&self, config: &Config) -> String {
        let strength = self.chart.strength(&config.chart.design(&config.baseline));
        self.history.last().map_or_else(
            || "no day was judged yet".to_owned(),
            |p| {
                format!(
                    "at {:.0} % of its limit; last {:.1} starts an hour, {:.1} expected, runs of {:.0} min",
                    100.0 * strength,
                    f64::from(p.rate) / 100.0,
                    f64::from(p.expected) / 100.0,
                    f64::from(p.run_min) / 100.0
                )
            },
        )
    }

    /// Why starts cannot be counted at this cadence, if so: what slow sampling would show of 6 starts an hour.
    pub(crate) fn blind(&self, cadence_min: f64, config: &Config) -> Option<String> {
        if self.counter.is_some() || self.can_count(cadence_min, config) {
            return None;
        }
        let shown = expected_observed_starts(cadence_min, 6.0, 0.5)?;
        Some(format!(
            "without a start counter or state events, a reading every {cadence_min:.0} min shows {shown:.1} of 6 \
             starts an hour"
        ))
    }

    pub(super) fn words(
        &self,
        counted: &Counted,
        (rate, expected): (f64, f64),
        (run, normal_run): (f64, f64),
        confidence: f64,
        config: &Config,
    ) -> Words {
        let mut because = Because::default();
        because.say(format!(
            "{rate:.1} starts an hour in {:.0} h of start-stop running, doors, defrosts and set-point changes taken \
             off; at this duty the unit used to make {expected:.1}.",
            counted.minutes / 60.0
        ));
        because.say(format!("A run lasts {run:.0} min instead of {normal_run:.0} min."));
        add_cause(counted, &mut because);
        let series =
            |of: fn(&Past) -> u16| self.history.iter().map(move |p| (p.day, f64::from(of(p)) / 100.0));
        because.daily("starts per hour", "{count}/h", series(|p| p.rate));
        because.daily("starts per hour expected at this duty", "{count}/h", series(|p| p.expected));
        because.daily("run time", "min", series(|p| p.run_min));
        because.limit("a case from, over the expected", config.cycling.least_excess);
        Words {
            headline: format!("Compressor starts {rate:.1} times an hour, {expected:.1} expected"),
            confidence,
            hours_to_harm: None,
            evidence: because.done(),
        }
    }
}

pub(super) fn add_cause(counted: &Counted, because: &mut Because) {
    let total: u32 = counted.ends.iter().map(|e| u32::from(*e)).sum();
    if total == 0 {
        because.left_out("how the runs ended was not seen".to_owned());
        return;
    }
    let [satisfied, low, high, other] = counted.ends;
    let most = *counted.ends.iter().max().unwrap_or(&0);
    because.say(if most == high {
        format!("{high} of {total} runs ended near the high-pressure cut-out: look at the condenser.")
    } else if most == low {
        format!("{low} of {total} runs ended at low suction pressure: low charge, ice or a restriction.")
    } else if most == other {
        format!("{other} of {total} runs were ended by the unit's protection.")
    } else {
        format!(
            "{satisfied} of {total} runs ended at the set point: a tight band, or a sensor in the supply air."
        )
    });
}
