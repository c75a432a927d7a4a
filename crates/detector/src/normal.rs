//! What is normal for a unit: learned once per mode class from its own days, then frozen.

use serde::{Deserialize, Serialize};

use crate::config::Config;
use crate::reduce::{median_f32, spread};
use crate::regime::ModeClass;

/// A class seen within so many days is in use.
const IN_USE_DAYS: u16 = 14;
/// Mode classes remembered; a further one takes the place of one no longer in use.
pub(crate) const CLASSES: usize = 3;
/// Days a baseline may have at most; `config.baseline.days` is checked against it.
const MOST_DAYS: usize = 28;
/// How far ambient may lie outside what the baseline has seen, K.
const AMBIENT_REACH: f32 = 8.0;
/// A day's value further than this from the median is drawn in before slopes are fitted, standard deviations.
const DRAWN_IN: f64 = 3.0;

/// One admitted day: a feature and what drives it. The first driver is the return air, Cel, except where a feature says
/// otherwise: air difference or throttle at part load, distance to the set point for pull-downs.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Day {
    pub(crate) y: f32,
    pub(crate) ret: f32,
    pub(crate) ambient: f32,
}

/// What a fleet lets expect of a feature before a unit has told anything.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Prior {
    /// Day-to-day standard deviation.
    pub(crate) sigma: f64,
    /// Standard deviation between units of the slopes that the expected shape leaves over: per unit of the driver,
    /// and per K of ambient.
    pub(crate) slope_sd: f64,
    pub(crate) ambient_sd: f64,
    /// Values that make a baseline.
    pub(crate) needed: u8,
}

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
struct Kept {
    // Stored as integers in thousandths and half kelvins: a third of the space.
    y: i32,
    ret: i8,
    ambient: i8,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
enum Knowledge {
    Learning(Vec<Kept>),
    Frozen(Baseline),
}

/// A frozen baseline.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Baseline {
    pub(crate) days: u8,
    /// Value at the baseline's mean return air and ambient.
    pub(crate) level: f32,
    pub(crate) sigma: f32,
    ret: f32,
    ambient: f32,
    by_ret: f32,
    by_ambient: f32,
    ambient_low: f32,
    ambient_high: f32,
}

impl Baseline {
    /// The hottest ambient for which it knows what is normal, Cel.
    pub(crate) fn hottest(&self) -> f32 {
        self.ambient_high + AMBIENT_REACH
    }

    /// What is normal on such a day; `None` where its ambient is far outside what the baseline has seen.
    pub(crate) fn expected(&self, day: &Day) -> Option<f64> {
        let reach = self.ambient_low - AMBIENT_REACH..=self.ambient_high + AMBIENT_REACH;
        reach.contains(&day.ambient).then(|| {
            f64::from(
                self.level
                    + self.by_ret * (day.ret - self.ret)
                    + self.by_ambient * (day.ambient - self.ambient),
            )
        })
    }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
struct OfClass {
    class: ModeClass,
    last_day: u16,
    knowledge: Knowledge,
}

/// One feature's normal in every mode class that was seen lately.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Normal {
    classes: Vec<OfClass>,
}

impl Normal {
    /// The baseline of a class, once complete.
    pub(crate) fn baseline(&self, class: ModeClass) -> Option<&Baseline> {
        self.classes.iter().find(|c| c.class == class).and_then(|c| match &c.knowledge {
            Knowledge::Frozen(baseline) => Some(baseline),
            Knowledge::Learning(_) => None,
        })
    }

    /// Learned days of the class that is nearest to complete, and the class; `None` once one is complete.
    pub(crate) fn learning(&self) -> Option<(u8, Option<ModeClass>)> {
        let mut best = (0, None);
        for c in &self.classes {
            match &c.knowledge {
                Knowledge::Frozen(_) => return None,
                Knowledge::Learning(days) if days.len() > usize::from(best.0) => {
                    best = (days.len() as u8, Some(c.class));
                }
                Knowledge::Learning(_) => {}
            }
        }
        Some(best)
    }

    /// Takes in a day of a class whose baseline is not complete. Completes it where the day was the last one needed.
    pub(crate) fn learn(&mut self, class: ModeClass, number: u16, day: &Day, prior: Prior, config: &Config) {
        let known = self.classes.iter().position(|c| c.class == class);
        let Some(at) = known.or_else(|| self.add(class, number)) else {
            return;
        };
        let of = &mut self.classes[at];
        of.last_day = number;
        let Knowledge::Learning(days) = &mut of.knowledge else {
            return;
        };
        days.push(Kept::from(day));
        if days.len() >= usize::from(prior.needed).min(MOST_DAYS) {
            of.knowledge = Knowledge::Frozen(freeze(days, prior, config));
        }
    }

    /// Notes that a class is in use.
    pub(crate) fn used(&mut self, class: ModeClass, number: u16) {
        if let Some(of) = self.classes.iter_mut().find(|c| c.class == class) {
            of.last_day = number;
        }
    }

    /// A place for a new class; `None` while all are taken by classes in use.
    fn add(&mut self, class: ModeClass, number: u16) -> Option<usize> {
        if self.classes.len() >= CLASSES {
            // A complete baseline took three weeks to learn: one still learning goes first.
            let oldest = (0..self.classes.len()).min_by_key(|&i| {
                let c = &self.classes[i];
                (matches!(c.knowledge, Knowledge::Frozen(_)), c.last_day)
            })?;
            if number.saturating_sub(self.classes[oldest].last_day) < IN_USE_DAYS {
                return None;
            }
            self.classes.swap_remove(oldest);
        }
        self.classes.push(OfClass { class, last_day: 0, knowledge: Knowledge::Learning(Vec::new()) });
        Some(self.classes.len() - 1)
    }
}

impl From<&Day> for Kept {
    fn from(day: &Day) -> Self {
        let fixed = |v: f32, scale: f32| (v * scale).round();
        Self {
            y: fixed(day.y, 1000.0) as i32,
            ret: fixed(day.ret, 2.0) as i8,
            ambient: fixed(day.ambient, 2.0) as i8,
        }
    }
}

impl From<&Kept> for Day {
    fn from(kept: &Kept) -> Self {
        Self {
            y: kept.y as f32 / 1000.0,
            ret: f32::from(kept.ret) / 2.0,
            ambient: f32::from(kept.ambient) / 2.0,
        }
    }
}

/// Level, slopes against the two drivers, and spread. Slopes are drawn towards zero as far as the days do not tell
/// them apart from noise (ridge); the spread is pooled with the fleet's.
fn freeze(kept: &[Kept], prior: Prior, config: &Config) -> Baseline {
    let days: Vec<Day> = kept.iter().map(Day::from).collect();
    let count = days.len() as f64;
    let mean = |of: fn(&Day) -> f32| days.iter().map(|d| f64::from(of(d))).sum::<f64>() / count.max(1.0);
    let (ret, ambient) = (mean(|d| d.ret), mean(|d| d.ambient));
    let mut y: Vec<f32> = days.iter().map(|d| d.y).collect();
    let middle = median_f32(&mut y).unwrap_or(0.0);
    let limit = DRAWN_IN * spread(&y, middle).max(prior.sigma);
    let ridge = |sd: f64| (prior.sigma / sd).powi(2);
    let (mut rr, mut ra, mut aa, mut ry, mut ay) =
        (ridge(prior.slope_sd), 0.0, ridge(prior.ambient_sd), 0.0, 0.0);
    for day in &days {
        let r = f64::from(day.ret) - ret;
        let a = f64::from(day.ambient) - ambient;
        let v = (f64::from(day.y) - middle).clamp(-limit, limit);
        (rr, ra, aa, ry, ay) = (rr + r * r, ra + r * a, aa + a * a, ry + r * v, ay + a * v);
    }
    let determinant = rr * aa - ra * ra;
    let by_ret = (aa * ry - ra * ay) / determinant;
    let by_ambient = (rr * ay - ra * ry) / determinant;
    let mut left: Vec<f32> = days
        .iter()
        .map(|d| {
            d.y - (by_ret * (f64::from(d.ret) - ret) + by_ambient * (f64::from(d.ambient) - ambient)) as f32
        })
        .collect();
    let level = median_f32(&mut left).unwrap_or(middle);
    let own = spread(&left, level);
    let weight = config.baseline.fleet_weight;
    let sigma = ((count * own * own + weight * prior.sigma * prior.sigma) / (count + weight)).sqrt();
    let extreme = |pick: fn(f32, f32) -> f32| days.iter().map(|d| d.ambient).reduce(pick).unwrap_or(0.0);
    Baseline {
        days: days.len() as u8,
        level: level as f32,
        sigma: sigma as f32,
        ret: ret as f32,
        ambient: ambient as f32,
        by_ret: by_ret as f32,
        by_ambient: by_ambient as f32,
        ambient_low: extreme(f32::min),
        ambient_high: extreme(f32::max),
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use rimeline_channels::{Drive, RunningMode, State};

    use super::*;

    const PRIOR: Prior = Prior { sigma: 1.0, slope_sd: 0.1, ambient_sd: 0.1, needed: 21 };

    fn learned(days: impl Iterator<Item = Day>) -> Normal {
        let mut normal = Normal::default();
        for (i, day) in days.enumerate() {
            normal.learn(ModeClass::default(), i as u16, &day, PRIOR, &Config::default());
        }
        normal
    }

    #[test]
    fn a_baseline_is_complete_after_the_days_asked_for_and_then_frozen() {
        let day = |i: usize| Day { y: 12.0 + (i % 3) as f32 * 0.1, ret: 2.0, ambient: 20.0 };
        let almost = learned((0..20).map(day));
        assert_eq!(almost.learning(), Some((20, Some(ModeClass::default()))));
        assert!(almost.baseline(ModeClass::default()).is_none());
        let full = learned((0..21).map(day).chain([Day { y: 99.0, ..day(0) }; 30]));
        assert_eq!(full.learning(), None);
        let baseline = full.baseline(ModeClass::default()).unwrap();
        assert!((baseline.level - 12.1).abs() < 0.01, "{baseline:?}");
        assert_eq!(baseline.days, 21);
    }

    #[test]
    fn what_ambient_explains_is_expected_and_not_residual() {
        let full = learned((0..21).map(|i| {
            let ambient = 15.0 + (i * 8 % 21) as f32;
            Day { y: 10.0 + 0.2 * ambient, ret: 2.0, ambient }
        }));
        let baseline = full.baseline(ModeClass::default()).unwrap();
        let expected = baseline.expected(&Day { y: 0.0, ret: 2.0, ambient: 38.0 }).unwrap();
        assert!((expected - 17.6).abs() < 0.8, "{expected}");
        assert_eq!(baseline.expected(&Day { y: 0.0, ret: 2.0, ambient: 50.0 }), None, "nobody has seen that");
    }

    #[test]
    fn one_wild_day_does_not_move_the_baseline() {
        let full =
            learned((0..21).map(|i| Day { y: if i == 5 { 80.0 } else { 12.0 }, ret: 2.0, ambient: 20.0 }));
        assert!((full.baseline(ModeClass::default()).unwrap().level - 12.0).abs() < 0.01);
    }

    #[test]
    fn the_number_of_classes_is_bounded_and_complete_ones_stay() {
        let mut normal = learned((0..21).map(|_| Day { y: 1.0, ret: 0.0, ambient: 20.0 }));
        for drive in Drive::ALL {
            for mode in RunningMode::ALL {
                let class =
                    ModeClass::new(&State { drive: *drive, running_mode: *mode, ..State::default() }, None);
                normal.learn(class, 30, &Day::default(), PRIOR, &Config::default());
            }
        }
        assert_eq!(normal.classes.len(), CLASSES);
        assert!(normal.baseline(ModeClass::default()).is_some());
    }
}
