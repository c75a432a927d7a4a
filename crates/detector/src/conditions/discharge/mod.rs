//! Condensing temperature over ambient at full cooling: trend over days, and steps within a day.
//!
//! Never raw pressure: a hot day, altitude and the refrigerant's glide are taken out before anything is compared.

mod words;

use rimeline_channels::{Channel, DAY_MS, UnixMs};
use serde::{Deserialize, Serialize};

use crate::config::Config;
use crate::daily::{EndedRun, Sample};
use crate::evidence::Because;
use crate::fleet::Feature;
use crate::normal::Prior;
use crate::observed::Observed;
use crate::physics;
use crate::regime::{Masks, ModeClass};
use crate::stand::{Subject, Words};
use crate::trend_test::{Judged, Kind, TrendTest};
use crate::{Condition, Fleet, Output, Standing, UnitSetup};

/// State kept per unit.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Discharge {
    pub(crate) test: TrendTest,
    /// Runs of this day beyond the act level, their mean rise, and when the first began.
    high_runs: u8,
    high_rise: f32,
    high_since: UnixMs,
    /// Lowest condensing temperature that this unit holds, Cel.
    floor: Option<f32>,
}

/// How fast the floor of the condensing temperature is followed down and up, per sample.
const FLOOR_DOWN: f32 = 0.2;
const FLOOR_UP: f32 = 0.0005;
/// This far above the floor the condenser decides, not its control, K.
const ABOVE_FLOOR_K: f64 = 1.5;

/// The trend's strength from which a step is the end of a trend.
const TREND_LED: f64 = 0.3;

fn kind(config: &Config) -> Kind {
    let prior = Prior {
        sigma: config.discharge.sigma_k,
        slope_sd: 0.1,
        ambient_sd: 0.1,
        needed: config.baseline.days,
    };
    Kind { feature: Feature::Condensing, prior, part_load: Prior { slope_sd: 0.4, ..prior }, sign: 1.0 }
}

/// Air difference at part load for which nothing is taken off, K.
const PART_LOAD_TD_K: f64 = 3.0;

/// The part of condensing over ambient that load and ambient explain in any machine, K. `driver` is the return air, and
/// at part load the air difference.
fn explained(class: ModeClass, driver: f64, ambient: f64, config: &Config) -> f64 {
    let c = &config.discharge;
    let load =
        if class.is_part_load() { c.load_slope * (driver - PART_LOAD_TD_K) } else { c.return_slope * driver };
    load + c.ambient_slope * (ambient - 30.0)
}

impl Discharge {
    /// `pull_down_min`: minutes since a pull-down began, while one lasts.
    pub(crate) fn observe(
        &mut self,
        o: &Observed,
        pull_down_min: Option<f64>,
        setup: &UnitSetup,
        config: &Config,
        out: &mut Output,
    ) {
        let m = &o.moment;
        let c = &config.discharge;
        let masks = super::weak_cooling::MASKS;
        if m.masks.any(masks) {
            let ended = self.test.kept_out(m.masks.and(masks));
            self.step_clock(ended, m.at, setup, config, out);
            return;
        }
        let fit = m.calm.pressure
            && m.stage_min >= config.masks.stage_min
            && m.calm.slower_than(c.slope_k_per_min)
            && m.run_min.is_some_and(|run| run >= c.run_min)
            && pull_down_min.is_none_or(|p| p >= c.pull_down_min);
        let inputs = o.pd.zip(o.ambient).zip(o.ret).filter(|_| fit);
        let Some(((pd, ambient), ret)) = inputs else { return };
        if !(c.ambient_low..=c.ambient_high).contains(&ambient) {
            return;
        }
        let Some(condensing) = physics::condensing(setup, pd) else { return };
        if self.held_up(condensing) {
            return;
        }
        let (class, driver) = if m.masks.any(Masks::MODULATED) {
            // At part load the heat to reject follows the heat taken up, which the air difference shows.
            let td = o.supply.map(|supply| ret - supply);
            let Some(td) = td.filter(|td| *td >= config.cooling.least_part_td_k && m.calm.settled) else {
                return;
            };
            (m.class.at_part_load(), td)
        } else {
            (m.class, ret)
        };
        let y = condensing - ambient - explained(class, driver, ambient, config);
        let ended = self.test.daily.push(m.at, class, Sample { y, ret: driver, ambient });
        self.step_clock(ended, m.at, setup, config, out);
    }

    /// In cold weather controls hold the condensing temperature up, and ambient no longer shows in it. The floor is
    /// followed down quickly and up slowly.
    fn held_up(&mut self, condensing: f64) -> bool {
        let now = condensing as f32;
        let floor = self.floor.get_or_insert(now);
        let weight = if now < *floor { FLOOR_DOWN } else { FLOOR_UP };
        *floor += weight * (now - *floor);
        condensing < f64::from(*floor) + ABOVE_FLOOR_K
    }

    /// Runs far above normal within one day show a failed fan or belt or something lying on the condenser at once.
    fn step_clock(
        &mut self,
        ended: Option<EndedRun>,
        at: UnixMs,
        setup: &UnitSetup,
        config: &Config,
        out: &mut Output,
    ) {
        // At part load one run differs too much from the next.
        let Some(run) = ended.filter(|run| !run.class.is_part_load()) else { return };
        let Some(rise) = self.test.run_residual(&run, &kind(config)) else {
            return;
        };
        if rise < config.discharge.act_k {
            (self.high_runs, self.high_rise) = (0, 0.0);
            return;
        }
        if self.high_runs == 0 || run.began - self.high_since > DAY_MS {
            (self.high_runs, self.high_rise, self.high_since) = (0, 0.0, run.began);
        }
        self.high_runs = self.high_runs.saturating_add(1);
        self.high_rise += (rise as f32 - self.high_rise) / f32::from(self.high_runs);
        if self.high_runs < config.discharge.step_runs {
            return;
        }
        let subject = Subject { condition: Condition::RisingDischargePressure, channel: None, at };
        let (runs, rise) = (self.high_runs, f64::from(self.high_rise));
        // A trend that led here began earlier than today.
        let led = self.test.chart.strength(&TrendTest::design(config)) > TREND_LED;
        let since = if led { self.test.onset(self.high_since) } else { self.high_since };
        let strength = rise / config.discharge.act_k;
        let mut stand = std::mem::take(&mut self.test.stand);
        stand.rise(subject, Standing::Escalated, since, strength, out, || {
            let mut because = Because::default();
            because.say(format!(
                "In {runs} runs in a row condensing temperature over ambient was {rise:.1} K above what this unit \
                 used to show."
            ));
            because.say(if led {
                "It had been rising for days: a condenser that clogs, rather than one that failed at once.".to_owned()
            } else {
                "It came as a step, as a failed fan, a slipping belt or something lying on the condenser makes it."
                    .to_owned()
            });
            self.add_margin(rise, setup, config, &mut because);
            self.add_levels(config, &mut because);
            Words {
                headline: format!("Condensing temperature {rise:.0} K over normal in {runs} runs today"),
                confidence: 0.85,
                hours_to_harm: None,
                evidence: because.done(),
            }
        });
        self.test.stand = stand;
    }

    pub(crate) fn close_day(
        &mut self,
        day: u16,
        cadence_min: f64,
        setup: &UnitSetup,
        config: &Config,
        fleet: &mut Fleet,
    ) -> bool {
        self.test.close_day(day, cadence_min, &kind(config), setup, config, fleet)
    }

    /// `weaker`: smoothed loss of the capacity index, where it is known.
    pub(crate) fn settle(
        &mut self,
        now: UnixMs,
        weaker: Option<f64>,
        setup: &UnitSetup,
        config: &Config,
        fleet: &Fleet,
        out: &mut Output,
    ) {
        let Some(judged) = self.test.settle(now, &kind(config), setup, config, fleet) else {
            return;
        };
        let c = &config.discharge;
        let rise = self.test.chart.level();
        let subject = Subject { condition: Condition::RisingDischargePressure, channel: None, at: now };
        if judged.strength > 1.0 && rise >= c.least_k {
            let to = if rise >= c.act_k { Standing::Escalated } else { Standing::Open };
            self.rise(subject, to, judged, (rise, weaker), setup, config, out);
        } else if judged.strength > 0.5 && rise >= c.least_k / 2.0 {
            if self.test.stand.flagged() {
                self.test.stand.unsure();
            } else {
                self.rise(subject, Standing::Pending, judged, (rise, weaker), setup, config, out);
            }
        } else if judged.strength < config.chart.clear_share && rise < c.least_k / 2.0 && self.high_runs == 0
        {
            self.test.stand.calm(subject, config.chart.clear_days, out, || {
                "Condensing temperature over ambient is back to normal".to_owned()
            });
        } else {
            self.test.stand.unsure();
        }
    }

    #[allow(clippy::too_many_arguments)]
    fn rise(
        &mut self,
        subject: Subject,
        to: Standing,
        judged: Judged,
        (rise, weaker): (f64, Option<f64>),
        setup: &UnitSetup,
        config: &Config,
        out: &mut Output,
    ) {
        let onset = self.test.onset(judged.at);
        let mut stand = std::mem::take(&mut self.test.stand);
        stand.rise(subject, to, onset, judged.strength, out, || self.words(rise, weaker, setup, config));
        self.test.stand = stand;
    }

    /// The transducer it rests on turned out to be off: what was said is taken back.
    pub(crate) fn withdraw(&mut self, at: UnixMs, out: &mut Output) {
        let subject = Subject { condition: Condition::RisingDischargePressure, channel: None, at };
        self.test
            .stand
            .fall(subject, out, || "Taken back: the pressure transducer it rested on is off".to_owned());
        self.high_runs = 0;
    }

    pub(crate) fn channel_fitted(fitted: u64) -> bool {
        fitted & Channel::DischargePressure.bit() != 0
    }
}
