use rimeline_channels::UnixMs;
use serde::{Deserialize, Serialize};

use crate::config;
use crate::minute::Minute;
use crate::stats::CusumDesign;

/// Weight of the newest value in the smoothed level.
const LEVEL_WEIGHT: f32 = 0.3;

/// A one-sided cumulative sum, and the smoothed level of what goes into it. The sum is that of
/// [`Cusum`](crate::stats::Cusum), kept in a third of its space.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Chart {
    sum: f32,
    /// Where the sum left zero; means nothing while it is zero.
    onset: Minute,
    /// Exponentially weighted mean of the residuals, in their own unit.
    level: f32,
    steps: u16,
}

impl config::Chart {
    /// The chart of daily values.
    pub(crate) fn design(&self, baseline: &config::Baseline) -> CusumDesign {
        CusumDesign::new(self.k, self.h).with_guard(baseline.guard).with_clip(self.clip)
    }
}

impl Chart {
    /// Takes in a residual (positive is the direction of the fault) of spread `sigma`, against a baseline of `n`
    /// values.
    pub(crate) fn step(&mut self, at: UnixMs, residual: f64, sigma: f64, n: u32, design: &CusumDesign) {
        if !residual.is_finite() {
            return;
        }
        let z = (residual / sigma.max(f64::MIN_POSITIVE)).clamp(-design.clip, design.clip);
        if self.sum <= 0.0 {
            self.onset = Minute::of(at);
        }
        self.sum = (f64::from(self.sum) + z - design.slack(n)).max(0.0) as f32;
        self.steps = self.steps.saturating_add(1);
        let weight = if self.steps == 1 { 1.0 } else { LEVEL_WEIGHT };
        self.level += weight * (residual as f32 - self.level);
    }

    pub(crate) fn sum(&self) -> f64 {
        f64::from(self.sum)
    }

    /// The sum over its limit; above 1 the chart signals.
    pub(crate) fn strength(&self, design: &CusumDesign) -> f64 {
        self.sum() / design.h
    }

    pub(crate) fn level(&self) -> f64 {
        f64::from(self.level)
    }

    /// Sets the level that later values are smoothed into.
    pub(crate) fn set_level(&mut self, level: f64) {
        self.level = level as f32;
    }

    /// Values taken in.
    pub(crate) fn steps(&self) -> u16 {
        self.steps
    }

    /// Where the sum left zero; `at` where it is zero.
    pub(crate) fn onset(&self, at: UnixMs) -> UnixMs {
        if self.sum > 0.0 { self.onset.ms() } else { at }
    }
}

/// A chart to either side.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct TwoSided {
    up: Chart,
    down: Chart,
}

impl TwoSided {
    pub(crate) fn step(&mut self, at: UnixMs, change: f64, sigma: f64, n: u32, design: &CusumDesign) {
        self.up.step(at, change, sigma, n, design);
        self.down.step(at, -change, sigma, n, design);
    }

    /// The chart with the greater sum; its level is positive in its own direction.
    pub(crate) fn stronger(&self) -> &Chart {
        if self.down.sum > self.up.sum { &self.down } else { &self.up }
    }

    /// Smoothed change, up positive.
    pub(crate) fn level(&self) -> f64 {
        self.up.level()
    }

    /// Sets the smoothed change.
    pub(crate) fn set_level(&mut self, level: f64) {
        self.up.set_level(level);
        self.down.set_level(-level);
    }
}

/// Probability that the condition is real, from the strength of its chart and the signs that go with it.
///
/// Log-odds: the prior, plus what a cumulative sum with slack `k` says in favour of a shift of `2k`, reduced for
/// correlated days, plus `ln 3` for each sign that agrees, less the same for each that contradicts. One channel alone
/// is never surer than 0.85, and nothing than 0.95.
pub(crate) fn confidence(
    config: &config::Chart,
    design: &CusumDesign,
    sum: f64,
    agree: u8,
    against: u8,
) -> f64 {
    surety(config, config.correlation, design, sum, (agree, against))
}

/// The same for values that are not of successive days: pull-downs, off periods.
pub(crate) fn confidence_of_episodes(
    config: &config::Chart,
    design: &CusumDesign,
    sum: f64,
    agree: u8,
) -> f64 {
    surety(config, 0.0, design, sum, (agree, 0))
}

fn surety(
    config: &config::Chart,
    correlation: f64,
    design: &CusumDesign,
    sum: f64,
    (agree, against): (u8, u8),
) -> f64 {
    let thinned = (1.0 - correlation) / (1.0 + correlation);
    let signs = (f64::from(agree) - f64::from(against)) * 3.0_f64.ln();
    let log_odds = config.prior_log_odds + 2.0 * design.k * sum * thinned + signs;
    let p = 1.0 / (1.0 + (-log_odds).exp());
    p.min(if agree == 0 { 0.85 } else { 0.95 })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use rimeline_channels::DAY_MS;

    use super::*;
    use crate::stats::Cusum;

    fn design() -> CusumDesign {
        config::Chart::default().design(&config::Baseline::default())
    }

    proptest! {
        #[test]
        fn scaling_values_and_spread_leaves_the_sum_unchanged(
            values in prop::collection::vec(-10.0..10.0f64, 1..60), factor in 0.01..100.0f64
        ) {
            let (mut a, mut b) = (Chart::default(), Chart::default());
            for (i, v) in values.iter().enumerate() {
                a.step(i as i64, *v, 1.7, 21, &design());
                b.step(i as i64, v * factor, 1.7 * factor, 21, &design());
                prop_assert!((a.sum() - b.sum()).abs() < 1e-4);
            }
        }
    }

    proptest! {
        #[test]
        fn the_sum_is_the_one_of_the_published_form(values in prop::collection::vec(-4.0..4.0f64, 1..80)) {
            let (mut chart, mut published) = (Chart::default(), Cusum::default());
            for (i, z) in values.iter().enumerate() {
                let at = i as i64 * DAY_MS;
                chart.step(at, 2.0 * z, 2.0, 21, &design());
                published.step(&design(), 21, *z, at);
                prop_assert!((chart.sum() - published.sum()).abs() < 1e-3);
                if published.sum() > 0.01 {
                    prop_assert_eq!(Some(chart.onset(at)), published.onset());
                }
            }
        }
    }

    #[test]
    fn a_constant_stream_never_opens() {
        let mut chart = Chart::default();
        for day in 0..1000 {
            chart.step(day * DAY_MS, 0.0, 1.0, 21, &design());
        }
        assert_eq!(chart.sum(), 0.0);
    }

    #[test]
    fn one_bad_day_counts_at_most_the_clip_less_the_slack() {
        let mut chart = Chart::default();
        chart.step(1, 1e9, 1.0, 16, &design());
        assert!((chart.sum() - (3.0 - 1.0 - 1.28 / 4.0)).abs() < 1e-6);
    }

    #[test]
    fn confidence_grows_with_strength_and_agreement_and_is_never_certain() {
        let c = |sum, agree, against| confidence(&config::Chart::default(), &design(), sum, agree, against);
        assert!(c(6.0, 0, 0) > 0.6 && c(6.0, 0, 0) < 0.85);
        assert!(c(6.0, 1, 0) > c(6.0, 0, 0) && c(6.0, 0, 1) < c(6.0, 0, 0));
        assert_eq!(c(1e3, 0, 0), 0.85);
        assert_eq!(c(1e3, 3, 0), 0.95);
    }
}
