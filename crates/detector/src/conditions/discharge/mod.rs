//! Condensing temperature over ambient at full cooling: trend over days, and steps within a day.
//!
//! Never raw pressure: a hot day, altitude and the refrigerant's glide are taken out before anything is compared.

use rimeline_channels::{Channel, DAY_MS, UnixMs};
use serde::{Deserialize, Serialize};

use crate::chart::confidence;
use crate::config::Config;
use crate::daily::{EndedRun, Sample};
use crate::evidence::Because;
use crate::fleet::Feature;
use crate::normal::Prior;
use crate::observed::Observed;
use crate::physics;
use crate::stand::{Subject, Words};
use crate::stats::{Approach, TimeToLimit, trend};
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
    Kind {
        feature: Feature::Condensing,
        prior: Prior { sigma: config.discharge.sigma_k, slope_sd: 0.1, needed: config.baseline.days },
        sign: 1.0,
    }
}

/// The part of condensing over ambient that return air and ambient explain in any machine, K.
fn explained(ret: f64, ambient: f64, config: &Config) -> f64 {
    config.discharge.return_slope * ret + config.discharge.ambient_slope * (ambient - 30.0)
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
        let fit = !m.masks.any(masks)
            && m.calm.pressure
            && m.calm.slower_than(c.slope_k_per_min)
            && m.run_min.is_some_and(|run| run >= c.run_min)
            && pull_down_min.is_none_or(|p| p >= c.pull_down_min);
        let inputs = o.pd.zip(o.ambient).zip(o.ret).filter(|_| fit);
        let Some(((pd, ambient), ret)) =
            inputs.filter(|((_, a), _)| (c.ambient_low..=c.ambient_high).contains(a))
        else {
            if m.masks.any(masks) {
                let ended = self.test.kept_out(m.masks.and(masks));
                self.step_clock(ended, m.at, setup, config, out);
            }
            return;
        };
        let Some(condensing) = physics::condensing(setup, pd) else {
            return;
        };
        if self.held_up(condensing) {
            return;
        }
        let sample = Sample { y: condensing - ambient - explained(ret, ambient, config), ret, ambient };
        let ended = self.test.daily.push(m.at, m.class, sample);
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
        let Some(run) = ended else { return };
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

    fn words(&self, rise: f64, weaker: Option<f64>, setup: &UnitSetup, config: &Config) -> Words {
        let mut because = Because::default();
        if let (Some((class, day)), Some((normal, baseline))) = (self.test.latest, self.test.normal_now()) {
            let explained = explained(f64::from(day.ret), f64::from(day.ambient), config);
            because.say(format!(
                "At full cooling ({}) the refrigerant condenses {:.1} K above ambient; at {:.0} C ambient and {:.1} C \
                 return air this unit used to show {:.1} K.",
                class.words(),
                f64::from(day.y) + explained,
                day.ambient,
                day.ret,
                normal + explained
            ));
            because.say(format!(
                "Over the last days it was {rise:.1} K above normal; normal was learned from {} days and has a spread \
                 of {:.1} K from day to day.",
                baseline.days, baseline.sigma
            ));
        }
        let mut agree = 0;
        match weaker {
            Some(loss) if loss >= 0.03 => {
                agree = 1;
                because.say(format!("The unit also cools {:.0} % weaker.", 100.0 * loss));
            }
            Some(_) => {}
            None => because.left_out("the cooling index is not known".to_owned()),
        }
        if self.test.peers_used() {
            because.say(
                "What similar units showed on the same days was taken off, as a hot day lifts all."
                    .to_owned(),
            );
        } else {
            because
                .left_out("fewer than the needed similar units to compare with on the same day".to_owned());
        }
        let margin = self.add_margin(rise, setup, config, &mut because);
        let forecast = margin.and_then(|margin| self.forecast(rise, margin, config));
        if let Some(f) = forecast {
            because.forecast(f.days, Some(f.early), f.late);
            because.say(forecast_words(&f, config));
        }
        self.add_levels(config, &mut because);
        let design = TrendTest::design(config);
        Words {
            headline: format!("Condensing temperature over ambient {rise:.1} K above normal"),
            confidence: confidence(&config.chart, &design, self.test.chart.sum(), agree, 0),
            hours_to_harm: forecast.and_then(|f| f.days).map(|days| days * 24.0),
            evidence: because.done(),
        }
    }

    /// Says above which ambient the unit cuts out today; returns the further rise that the design ambient allows, K.
    fn add_margin(
        &self,
        rise: f64,
        setup: &UnitSetup,
        config: &Config,
        because: &mut Because,
    ) -> Option<f64> {
        let c = &config.discharge;
        let Some(cut_out) = setup.cut_out_kpa else {
            because.left_out("the high-pressure cut-out of this unit is not stated".to_owned());
            return None;
        };
        let at_cut_out = physics::condensing(setup, cut_out - c.cut_out_margin_kpa)?;
        let (_, day) = self.test.latest?;
        let (_, baseline) = self.test.normal_now()?;
        let explained = explained(f64::from(day.ret), c.design_ambient, config);
        let hot_day = crate::normal::Day { ambient: baseline.hottest().min(c.design_ambient as f32), ..day };
        let normal_hot = baseline.expected(&hot_day).unwrap_or(f64::from(baseline.level));
        let over = normal_hot + explained + rise;
        because.say(format!(
            "Cuts out above ambient {:.0} C today, at {:.0} kPa and with {:.0} kPa kept in hand.",
            at_cut_out - over,
            cut_out,
            c.cut_out_margin_kpa
        ));
        let margin = at_cut_out - over - c.design_ambient;
        because.limit("rise at which it cuts out on the hottest day", rise + margin);
        Some(margin)
    }

    fn add_levels(&self, config: &Config, because: &mut Because) {
        because.masked(self.test.masks());
        because.daily("condensing over ambient, above normal", "K", self.test.history());
        because.limit("normal", 0.0);
        because.limit("a case from", config.discharge.least_k);
        because.limit("act from", config.discharge.act_k);
    }

    fn forecast(&self, rise: f64, margin: f64, config: &Config) -> Option<TimeToLimit> {
        let all: Vec<(u16, f64)> = self.test.history().collect();
        let from = all.len().saturating_sub(usize::from(config.discharge.forecast_days));
        let (days, values): (Vec<f64>, Vec<f64>) =
            all[from..].iter().map(|(d, v)| (f64::from(*d), *v)).unzip();
        if days.len() < 10 {
            return None;
        }
        trend(&days, &values, 0.9)?.time_to_limit(rise + margin, Approach::FromBelow)
    }

    pub(crate) fn channel_fitted(fitted: u64) -> bool {
        fitted & Channel::DischargePressure.bit() != 0
    }
}

fn forecast_words(f: &TimeToLimit, config: &Config) -> String {
    let ambient = config.discharge.design_ambient;
    match (f.days, f.late) {
        (Some(days), _) if days <= 0.0 => format!("On a day of {ambient:.0} C it cuts out already."),
        (Some(days), Some(late)) => format!(
            "At this pace it cuts out on a day of {ambient:.0} C in {days:.0} days (90 %: {:.0} to {late:.0}).",
            f.early
        ),
        (Some(days), None) => format!(
            "At this pace it cuts out on a day of {ambient:.0} C in {days:.0} days, earliest {:.0}; it may also never \
             come to that.",
            f.early
        ),
        (None, _) => format!(
            "It cuts out on a day of {ambient:.0} C in {:.0} days at the earliest; it may also never come to that.",
            f.early
        ),
    }
}
