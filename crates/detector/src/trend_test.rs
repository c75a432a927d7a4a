//! One daily feature through the whole recipe: its own baseline per mode class, the fleet's same-day median taken off,
//! a guarded chart with a practical minimum, hysteresis.

use rimeline_channels::{DAY_MS, HOUR_MS, UnixMs};
use serde::{Deserialize, Serialize};

use crate::chart::Chart;
use crate::config::Config;
use crate::daily::{Daily, EndedRun};
use crate::fleet::{Feature, Group};
use crate::normal::{Baseline, Day, Normal, Prior};
use crate::regime::{Masks, ModeClass};
use crate::stand::Stand;
use crate::stats::CusumDesign;
use crate::{Fleet, UnitSetup};

/// Admitted days kept for drawing and for forecasts.
pub(crate) const HISTORY: usize = 21;

/// Reasons worth telling: that a unit which stands cannot be judged goes without saying.
const TELLING: Masks = Masks::START_UP
    .or(Masks::RECENT)
    .or(Masks::DOOR_GUESS)
    .or(Masks::SELF_TEST)
    .or(Masks::MODULATED)
    .or(Masks::GAP);
/// Makes a part-load class come after every other.
const PART_LOAD_LAST: f64 = 1e3;

/// A day that waits until the other units have reported it too.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
struct Waiting {
    day: u16,
    class: ModeClass,
    value: Day,
}

/// A judged day: residual in the direction of the fault, thousandths.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
struct Past {
    day: u16,
    residual: i32,
}

/// State of one daily feature.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct TrendTest {
    pub(crate) daily: Daily,
    normal: Normal,
    waiting: Option<Waiting>,
    pub(crate) chart: Chart,
    history: Vec<Past>,
    /// Class and baseline level of the latest judged day, for words.
    pub(crate) latest: Option<(ModeClass, Day)>,
    last_day: u16,
    peers_used: bool,
    /// What kept samples out since the last judged day.
    masks: Masks,
    pub(crate) stand: Stand,
}

/// What is particular about a feature.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Kind {
    pub(crate) feature: Feature,
    pub(crate) prior: Prior,
    /// The prior of the part-load class.
    pub(crate) part_load: Prior,
    /// +1 where a rise is the fault, -1 where a fall is.
    pub(crate) sign: f64,
}

/// A day that was judged.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Judged {
    pub(crate) at: UnixMs,
    pub(crate) strength: f64,
}

impl Kind {
    fn prior(&self, class: ModeClass) -> Prior {
        if class.is_part_load() { self.part_load } else { self.prior }
    }
}

impl TrendTest {
    /// A sample was kept out.
    pub(crate) fn kept_out(&mut self, masks: Masks) -> Option<EndedRun> {
        self.masks.set(masks.and(TELLING), true);
        self.daily.end_run()
    }

    /// What kept samples out lately.
    pub(crate) fn masks(&self) -> Masks {
        self.masks
    }

    /// The day is over: its values go into the baseline, or wait to be judged. True where a judgement will follow.
    pub(crate) fn close_day(
        &mut self,
        day: u16,
        cadence_min: f64,
        kind: &Kind,
        setup: &UnitSetup,
        config: &Config,
        fleet: &mut Fleet,
    ) -> bool {
        let mut best: Option<(f64, Waiting)> = None;
        for (class, value) in self.daily.close(day, cadence_min, config) {
            let Some(baseline) = self.normal.baseline(class).copied() else {
                self.normal.learn(class, day, &value, kind.prior(class), config);
                continue;
            };
            self.normal.used(class, day);
            let Some(expected) = baseline.expected(&value) else {
                continue;
            };
            let residual = kind.sign * (f64::from(value.y) - expected);
            if let Some(group) = Group::new(day, &setup.family, class, kind.feature) {
                fleet.add(group, residual);
            }
            // Several classes on one day: full cooling before part load, then the surest baseline.
            let sigma = f64::from(baseline.sigma) + if class.is_part_load() { PART_LOAD_LAST } else { 0.0 };
            if best.as_ref().is_none_or(|(s, _)| sigma < *s) {
                best = Some((sigma, Waiting { day, class, value }));
            }
        }
        let judged = best.is_some();
        if judged {
            self.masks = Masks::default();
        }
        self.waiting = best.map(|(_, w)| w).or(self.waiting.take());
        judged
    }

    /// Judges the waiting day, once the other units had time to report it.
    pub(crate) fn settle(
        &mut self,
        now: UnixMs,
        kind: &Kind,
        setup: &UnitSetup,
        config: &Config,
        fleet: &Fleet,
    ) -> Option<Judged> {
        let waiting = self.waiting?;
        let end = i64::from(waiting.day + 1) * DAY_MS;
        if now < end + (config.peers.settle_hours * HOUR_MS as f64) as i64 {
            return None;
        }
        self.waiting = None;
        let baseline = *self.normal.baseline(waiting.class)?;
        let expected = baseline.expected(&waiting.value)?;
        let peers = Group::new(waiting.day, &setup.family, waiting.class, kind.feature)
            .and_then(|group| fleet.median(group, config.peers.least_units));
        let residual = kind.sign * (f64::from(waiting.value.y) - expected) - peers.unwrap_or(0.0);
        let design = config.chart.design(&config.baseline);
        let began = i64::from(waiting.day) * DAY_MS;
        self.chart.step(began, residual, f64::from(baseline.sigma), u32::from(baseline.days), &design);
        if self.history.len() >= HISTORY {
            self.history.remove(0);
        }
        self.history.push(Past { day: waiting.day, residual: (residual * 1000.0).round() as i32 });
        self.latest = Some((waiting.class, waiting.value));
        self.peers_used = peers.is_some();
        Some(Judged { at: now, strength: self.chart.strength(&design) })
    }

    /// The residual of a run, where its class has a baseline.
    pub(crate) fn run_residual(&self, run: &EndedRun, kind: &Kind) -> Option<f64> {
        let expected = self.normal.baseline(run.class)?.expected(&run.day)?;
        Some(kind.sign * (f64::from(run.day.y) - expected))
    }

    /// Residuals of the last judged days, in the direction of the fault.
    pub(crate) fn history(&self) -> impl Iterator<Item = (u16, f64)> {
        self.history.iter().map(|p| (p.day, f64::from(p.residual) / 1000.0))
    }

    /// What is normal for the latest judged day, and the baseline it comes from.
    pub(crate) fn normal_now(&self) -> Option<(f64, Baseline)> {
        let (class, day) = self.latest?;
        let baseline = self.normal.baseline(class)?;
        Some((baseline.expected(&day)?, *baseline))
    }

    /// Whether the latest day was compared with other units.
    pub(crate) fn peers_used(&self) -> bool {
        self.peers_used
    }

    /// Learned days and class while no class has a baseline.
    pub(crate) fn learning(&self) -> Option<(u8, Option<ModeClass>)> {
        self.normal.learning()
    }

    pub(crate) fn judged_days(&self) -> u16 {
        self.chart.steps()
    }

    pub(crate) fn onset(&self, at: UnixMs) -> UnixMs {
        self.chart.onset(at)
    }

    pub(crate) fn design(config: &Config) -> CusumDesign {
        config.chart.design(&config.baseline)
    }
}
