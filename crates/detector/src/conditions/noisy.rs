//! Sample-to-sample noise against the sensor's own past.
//!
//! Second differences are used, which slow movement of the air leaves alone. Noise reverses two steps in three;
//! hunting of a valve or a control does so far less and shows on the neighbours, and is no fault of the sensor.

use rimeline_channels::{Channel, UnixMs};
use serde::{Deserialize, Serialize};

use crate::chart::{Chart, confidence};
use crate::config::Config;
use crate::evidence::Because;
use crate::regime::Moment;
use crate::say;
use crate::sensors::{self, Frame, Past, SENSORS, WATCHED};
use crate::stand::{Stand, Subject, Words};
use crate::stats::CusumDesign;
use crate::{Condition, Output, Standing};

/// Mean of the absolute second difference of noise of standard deviation 1: sqrt(6) * sqrt(2 / pi).
const MEAN_SECOND_DIFFERENCE: f64 = 1.954_410_047_612_9;

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
struct Watch {
    sum: f32,
    samples: u16,
    /// Pairs of steps in a row that are both not zero, and how many of them reverse.
    pairs: u16,
    reversals: u16,
    /// Mean logarithm of the noise over the baseline days, stored steps.
    baseline: f32,
    days: u8,
    /// Logarithm of the latest day's noise over its baseline.
    rise: f32,
    chart: Chart,
    stand: Stand,
}

/// State kept per unit.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Noisy {
    watches: [Watch; WATCHED],
}

impl Noisy {
    /// Takes in a reading. `quiet`: nothing has stirred air or circuit lately. `pasts` hold this reading's values.
    pub(crate) fn step(
        &mut self,
        m: &Moment,
        frame: &Frame,
        pasts: &[Past; WATCHED],
        quiet: bool,
        config: &Config,
    ) {
        if !quiet || m.dt.is_none() || m.cadence_min() > config.noise.longest_cadence_min {
            return;
        }
        let mut left = frame.has();
        while left != 0 {
            let sensor = left.trailing_zeros() as usize;
            left &= left - 1;
            // A running circuit hunts; at rest pressures move slowly, and what scatters is the sensor.
            if sensors::is_pressure(sensor) && m.running != Some(false) {
                continue;
            }
            let &[x, p, pp, ..] = pasts[sensor].values() else {
                continue;
            };
            let watch = &mut self.watches[sensor];
            let (step, before) = (i32::from(x) - i32::from(p), i32::from(p) - i32::from(pp));
            watch.sum += (step - before).unsigned_abs() as f32;
            watch.samples = watch.samples.saturating_add(1);
            if step != 0 && before != 0 {
                watch.pairs = watch.pairs.saturating_add(1);
                watch.reversals = watch.reversals.saturating_add(u16::from((step > 0) != (before > 0)));
            }
        }
    }

    /// A day is over: its noise goes into the baseline or the chart.
    pub(crate) fn close_day(
        &mut self,
        end: UnixMs,
        pasts: &[Past; WATCHED],
        config: &Config,
        out: &mut Output,
    ) {
        let c = &config.noise;
        let design = design(config);
        let mut decided = 0u16;
        for (i, (watch, past)) in self.watches.iter_mut().zip(pasts).enumerate() {
            let admitted = watch.samples >= c.samples;
            if admitted {
                let sigma = f64::from(watch.sum) / f64::from(watch.samples) / MEAN_SECOND_DIFFERENCE;
                // Below the last digit there is nothing to see.
                let log = sigma.max(0.29 * past.quantum()).ln();
                if watch.days < c.days {
                    watch.days += 1;
                    watch.baseline += (log as f32 - watch.baseline) / f32::from(watch.days);
                } else {
                    watch.rise = log as f32 - watch.baseline;
                    decided |= 1 << i;
                }
            }
            if !admitted || watch.days < c.days {
                (watch.sum, watch.samples, watch.pairs, watch.reversals) = (0.0, 0, 0, 0);
            }
        }
        let rises: [f32; WATCHED] = std::array::from_fn(|i| self.watches[i].rise);
        while decided != 0 {
            let sensor = decided.trailing_zeros() as usize;
            decided &= decided - 1;
            self.judge(sensor, end, &rises, pasts[sensor].quantum(), &design, config, out);
        }
    }

    #[allow(clippy::too_many_arguments)]
    fn judge(
        &mut self,
        sensor: usize,
        end: UnixMs,
        rises: &[f32; WATCHED],
        quantum: f64,
        design: &CusumDesign,
        config: &Config,
        out: &mut Output,
    ) {
        let c = &config.noise;
        let watch = &mut self.watches[sensor];
        let rise = f64::from(watch.rise);
        let enough_pairs = watch.pairs >= 10;
        let alternates = enough_pairs && f64::from(watch.reversals) >= c.alternation * f64::from(watch.pairs);
        let shared = rise > 0.0
            && (0..WATCHED).any(|other| {
                other != sensor
                    && sensors::is_pressure(other) == sensors::is_pressure(sensor)
                    && f64::from(rises[other]) >= c.shared * rise
                    && f64::from(rises[other]) > c.ratio.ln() * 0.5
            });
        let own = if alternates && !shared { rise } else { rise.min(0.0) };
        watch.chart.step(end, own, c.sigma, u32::from(watch.days), design);
        let level = watch.chart.level().exp();
        let noise = (f64::from(watch.baseline) + rise).exp();
        let channel = SENSORS[sensor];
        let subject = Subject { condition: Condition::SensorNoisy, channel: Some(channel), at: end };
        let real = level >= c.ratio && noise > c.quanta * quantum;
        let (sum, strength) = (watch.chart.sum(), watch.chart.strength(design));
        if strength > 1.0 && real {
            let onset = watch.chart.onset(end);
            let (baseline, reversals, pairs) =
                (f64::from(watch.baseline).exp(), watch.reversals, watch.pairs);
            watch.stand.rise(subject, Standing::Open, onset, strength, out, || {
                let sure = confidence(&config.chart, design, sum, 1, 0);
                words(sensor, (noise, baseline), f64::from(reversals) / f64::from(pairs.max(1)), sure)
            });
        } else if strength < config.chart.clear_share && level < c.ratio / 2.0 {
            watch.stand.calm(subject, config.chart.clear_days, out, || {
                format!("{} is as calm as it was", say::channel_first(channel))
            });
        } else {
            watch.stand.unsure();
        }
        (watch.sum, watch.samples, watch.pairs, watch.reversals) = (0.0, 0, 0, 0);
    }

    /// Sensors with an open finding, as a mask of channels.
    pub(crate) fn suspect(&self) -> u64 {
        self.watches.iter().zip(SENSORS).filter(|(w, _)| w.stand.flagged()).fold(0, |m, (_, c)| m | c.bit())
    }

    /// Days of the baseline of the sensor that has learned most.
    pub(crate) fn learned(&self) -> u8 {
        self.watches.iter().map(|w| w.days).max().unwrap_or(0)
    }

    pub(crate) fn serviced(&mut self, channel: Option<Channel>) {
        for (watch, sensor) in self.watches.iter_mut().zip(SENSORS) {
            if channel.is_none_or(|c| c == sensor) {
                *watch = Watch::default();
            }
        }
    }
}

fn design(config: &Config) -> CusumDesign {
    CusumDesign::new(config.chart.k, config.noise.h)
        .with_guard(config.baseline.guard)
        .with_clip(config.chart.clip)
}

fn words(sensor: usize, (noise, baseline): (f64, f64), reversing: f64, confidence: f64) -> Words {
    let channel = SENSORS[sensor];
    let name = say::channel_first(channel);
    let fine = |steps: f64| {
        let unit = if sensors::is_pressure(sensor) { "kPa" } else { "K" };
        format!("{:.2} {unit}", sensors::quantity(sensor, steps))
    };
    let mut because = Because::default();
    because.say(format!(
        "{name} scatters by {} from one reading to the next, {:.1} times the {} it used to.",
        fine(noise),
        noise / baseline,
        fine(baseline)
    ));
    because.say(format!(
        "{:.0} % of its steps reverse the one before: noise of the sensor or its wiring, not movement of the air; no \
         neighbour shows it.",
        100.0 * reversing
    ));
    because.limit("scatter in the baseline", sensors::quantity(sensor, baseline));
    Words {
        headline: format!("{name} is noisy: {} instead of {}", fine(noise), fine(baseline)),
        confidence,
        hours_to_harm: None,
        evidence: because.done(),
    }
}
