//! Qualified samples to one value per run, and runs to one value per day and mode class.

use rimeline_channels::{HOUR_MS, UnixMs};
use serde::{Deserialize, Serialize};

use crate::config::Config;
use crate::normal::Day;
use crate::reduce::Median;
use crate::regime::{ModeClass, minutes};

/// A run longer than this is cut, so that a unit that never stops has several values a day.
const LONGEST_RUN_MS: i64 = HOUR_MS;
/// Mode classes of one day that are kept.
const CLASSES: usize = 2;
/// A cadence from which two samples make a day, min.
const SLOW_CADENCE_MIN: f64 = 14.0;

/// A sample of a feature and of what drives it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Sample {
    pub(crate) y: f64,
    pub(crate) ret: f64,
    pub(crate) ambient: f64,
}

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
struct Run {
    class: ModeClass,
    began: UnixMs,
    last: UnixMs,
    y: Median,
}

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
struct OfClass {
    class: ModeClass,
    /// The first day of what is put together here; 0 until it ends.
    since: u16,
    runs: Median,
    samples: u16,
    span_min: f32,
    ret: f32,
    ambient: f32,
}

/// A feature's day so far.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Daily {
    run: Option<Run>,
    classes: Vec<OfClass>,
}

/// A run that has ended.
#[derive(Clone, Copy, Debug)]
pub(crate) struct EndedRun {
    pub(crate) class: ModeClass,
    pub(crate) began: UnixMs,
    pub(crate) day: Day,
}

impl Daily {
    /// Takes in a qualified sample; returns the run that it ends, if it belongs to another one.
    pub(crate) fn push(&mut self, at: UnixMs, class: ModeClass, sample: Sample) -> Option<EndedRun> {
        let other = |run: &Run| run.class != class || at - run.began >= LONGEST_RUN_MS;
        let ended = if self.run.as_ref().is_some_and(other) { self.end_run() } else { None };
        let run = self.run.get_or_insert_with(|| Run { class, began: at, last: at, y: Median::default() });
        run.last = at;
        run.y.push(sample.y);
        let i = self.class_index(class);
        let of = &mut self.classes[i];
        of.samples = of.samples.saturating_add(1);
        let weight = 1.0 / f32::from(of.samples);
        of.ret += weight * (sample.ret as f32 - of.ret);
        of.ambient += weight * (sample.ambient as f32 - of.ambient);
        ended
    }

    fn class_index(&mut self, class: ModeClass) -> usize {
        if let Some(i) = self.classes.iter().position(|c| c.class == class) {
            return i;
        }
        if self.classes.len() >= CLASSES {
            let thinnest = (0..CLASSES).min_by_key(|&i| self.classes[i].samples).unwrap_or(0);
            self.classes.swap_remove(thinnest);
        }
        self.classes.push(OfClass { class, ..OfClass::default() });
        self.classes.len() - 1
    }

    /// The run is over: a stop, a gap, a mask.
    pub(crate) fn end_run(&mut self) -> Option<EndedRun> {
        let run = self.run.take()?;
        let y = run.y.get()?;
        let of = self.classes.iter_mut().find(|c| c.class == run.class)?;
        of.runs.push(y);
        of.span_min += minutes(run.last - run.began) as f32;
        let day = Day { y: y as f32, ret: of.ret, ambient: of.ambient };
        Some(EndedRun { class: run.class, began: run.began, day })
    }

    /// Ends the day; returns its admitted values, one per class. A day with too few samples is put together with the
    /// next ones.
    pub(crate) fn close(&mut self, day: u16, cadence_min: f64, config: &Config) -> Vec<(ModeClass, Day)> {
        self.end_run();
        let c = &config.steady;
        let least = if cadence_min >= SLOW_CADENCE_MIN { 2 } else { u16::from(c.samples) };
        let mut admitted = Vec::new();
        self.classes.retain_mut(|of| {
            // The last sample of a run stands for one cadence more.
            let span = f64::from(of.span_min) + cadence_min * f64::from(of.runs.seen());
            if of.samples >= least && span >= c.minutes {
                if let Some(y) = of.runs.get() {
                    let value = Day { y: y as f32, ret: of.ret, ambient: of.ambient };
                    admitted.push((of.class, value));
                }
                return false;
            }
            if of.since == 0 {
                of.since = day;
            }
            day + 1 < of.since + c.together_days
        });
        admitted
    }
}

#[cfg(test)]
mod tests {
    use rimeline_channels::MINUTE_MS;

    use super::*;

    fn at(y: f64) -> Sample {
        Sample { y, ret: 2.0, ambient: 20.0 }
    }

    #[test]
    fn a_day_is_the_median_of_its_runs_not_of_its_samples() {
        let mut daily = Daily::default();
        for (run, (y, samples)) in [(1.0, 50), (2.0, 5), (3.0, 5)].into_iter().enumerate() {
            for i in 0..samples {
                daily.push(run as i64 * 2 * HOUR_MS + i * MINUTE_MS, ModeClass::default(), at(y));
            }
            daily.end_run();
        }
        let days = daily.close(9, 1.0, &Config::default());
        assert_eq!(days.len(), 1);
        assert_eq!(days[0].1.y, 2.0);
    }

    #[test]
    fn two_samples_five_minutes_apart_are_no_day() {
        let mut daily = Daily::default();
        let two = |daily: &mut Daily, from: i64| {
            daily.push(from, ModeClass::default(), at(1.0));
            daily.push(from + 5 * MINUTE_MS, ModeClass::default(), at(1.0));
            daily.end_run();
        };
        two(&mut daily, 0);
        assert!(daily.close(7, 5.0, &Config::default()).is_empty());
        two(&mut daily, 24 * HOUR_MS);
        assert!(daily.close(8, 5.0, &Config::default()).is_empty());
        two(&mut daily, 48 * HOUR_MS);
        assert_eq!(
            daily.close(9, 5.0, &Config::default()).len(),
            1,
            "three such days together are one value"
        );
        two(&mut daily, 72 * HOUR_MS);
        for day in 10..13 {
            assert!(daily.close(day, 5.0, &Config::default()).is_empty());
        }
        assert!(daily.classes.is_empty(), "what never comes together is dropped");
    }

    #[test]
    fn a_run_of_hours_gives_a_value_an_hour() {
        let mut daily = Daily::default();
        let ended =
            (0..=240).filter_map(|i| daily.push(i * MINUTE_MS, ModeClass::default(), at(1.0))).count();
        assert_eq!(ended, 4);
    }
}
