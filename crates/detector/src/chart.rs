use rimeline_channels::UnixMs;
use serde::{Deserialize, Serialize};

/// A one-sided cumulative sum of standardised values with slack, and the smoothed level beside it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Chart {
    sum: f32,
    /// Last time the sum was zero: the estimate of the onset.
    zero_at: UnixMs,
    /// Exponentially weighted mean of the values, in their own unit.
    level: f32,
    steps: u16,
}

/// Weight of the newest value in the smoothed level.
const LEVEL_WEIGHT: f32 = 0.3;

/// One step of a chart.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Slack {
    pub(crate) k: f64,
    /// Added to `k` because the baseline rests on few days.
    pub(crate) guard: f64,
    /// Largest standardised value that one step may bring.
    pub(crate) clip: f64,
}

impl Chart {
    /// Takes in `residual` (positive is the direction of the fault) of spread `sigma`.
    pub(crate) fn step(&mut self, at: UnixMs, residual: f64, sigma: f64, slack: Slack) {
        let z = (residual / sigma.max(f64::MIN_POSITIVE)).clamp(-slack.clip, slack.clip);
        if self.sum <= 0.0 {
            self.zero_at = at;
        }
        self.sum = (f64::from(self.sum) + z - slack.k - slack.guard).max(0.0) as f32;
        self.steps = self.steps.saturating_add(1);
        let residual = residual as f32;
        let weight = if self.steps == 1 { 1.0 } else { LEVEL_WEIGHT };
        self.level += weight * (residual - self.level);
    }

    pub(crate) fn sum(&self) -> f64 {
        f64::from(self.sum)
    }

    pub(crate) fn level(&self) -> f64 {
        f64::from(self.level)
    }

    /// Where the sum last left zero.
    pub(crate) fn onset(&self) -> UnixMs {
        self.zero_at
    }
}

/// Probability that the condition is real, from the strength of its chart and the signs that go with it.
///
/// Log-odds: the prior, plus what a cumulative sum with slack `k` says in favour of a shift of `2k`, reduced for
/// correlated days, plus `ln 3` for each sign that agrees, less the same for each that contradicts. One channel alone
/// is never surer than 0.85, and nothing than 0.95.
pub(crate) fn confidence(
    prior_log_odds: f64,
    k: f64,
    sum: f64,
    correlation: f64,
    agree: u8,
    against: u8,
) -> f64 {
    let thinned = (1.0 - correlation) / (1.0 + correlation);
    let signs = (f64::from(agree) - f64::from(against)) * 3.0_f64.ln();
    let log_odds = prior_log_odds + 2.0 * k * sum * thinned + signs;
    let p = 1.0 / (1.0 + (-log_odds).exp());
    p.min(if agree == 0 { 0.85 } else { 0.95 })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const SLACK: Slack = Slack {
        k: 1.0,
        guard: 0.25,
        clip: 3.0,
    };

    proptest! {
        #[test]
        fn scaling_values_and_spread_leaves_the_sum_unchanged(
            values in prop::collection::vec(-10.0..10.0f64, 1..60), factor in 0.01..100.0f64
        ) {
            let (mut a, mut b) = (Chart::default(), Chart::default());
            for (i, v) in values.iter().enumerate() {
                a.step(i as i64, *v, 1.7, SLACK);
                b.step(i as i64, v * factor, 1.7 * factor, SLACK);
                prop_assert!((a.sum() - b.sum()).abs() < 1e-4);
                prop_assert_eq!(a.onset(), b.onset());
            }
        }
    }

    #[test]
    fn one_bad_day_counts_at_most_the_clip_less_the_slack() {
        let mut chart = Chart::default();
        chart.step(1, 1e9, 1.0, SLACK);
        assert!((chart.sum() - 1.75).abs() < 1e-6);
    }

    #[test]
    fn the_onset_is_where_the_sum_left_zero_for_the_last_time() {
        let mut chart = Chart::default();
        for (day, z) in [2.0, -3.0, 0.0, 3.0, 3.0].into_iter().enumerate() {
            chart.step(day as i64, z, 1.0, SLACK);
        }
        assert_eq!(chart.onset(), 3);
    }

    #[test]
    fn confidence_grows_with_strength_and_agreement_and_is_never_certain() {
        let c = |sum, agree, against| confidence(-4.0, 1.0, sum, 0.4, agree, against);
        assert!(c(6.0, 0, 0) > 0.6 && c(6.0, 0, 0) < 0.85);
        assert!(c(6.0, 1, 0) > c(6.0, 0, 0) && c(6.0, 0, 1) < c(6.0, 0, 0));
        assert_eq!(c(1e3, 0, 0), 0.85);
        assert_eq!(c(1e3, 3, 0), 0.95);
    }
}
