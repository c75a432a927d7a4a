//! Heat taken out of the air at full cooling, against the unit's own past.
//!
//! The index is the logarithm of return minus supply air over what a machine of its kind shows at that return
//! temperature and ambient. It does not depend on the load: a warm load lengthens a pull-down, and leaves the index.

use serde::{Deserialize, Serialize};

use crate::chart::confidence;
use crate::config::Config;
use crate::daily::Sample;
use crate::evidence::Because;
use crate::fleet::Feature;
use crate::normal::Prior;
use crate::observed::Observed;
use crate::regime::Masks;
use crate::stand::{Subject, Words};
use crate::trend_test::{Judged, Kind, TrendTest};
use crate::{Condition, Fleet, Output, Standing, UnitSetup};

/// What keeps a sample out.
pub(crate) const MASKS: Masks = Masks::OFF
    .or(Masks::START_UP)
    .or(Masks::RECENT)
    .or(Masks::DOOR_GUESS)
    .or(Masks::NOT_COOLING)
    .or(Masks::SELF_TEST)
    .or(Masks::GAP)
    .or(Masks::NO_STATE);

/// State kept per unit.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct WeakCooling {
    pub(crate) test: TrendTest,
}

/// Signs on other channels.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Signs {
    /// Smoothed rise of condensing over ambient, K, where it is known.
    pub(crate) condensing_rise: Option<f64>,
}

fn kind(config: &Config) -> Kind {
    let prior = Prior {
        sigma: config.cooling.sigma,
        slope_sd: 0.004,
        ambient_sd: 0.004,
        needed: config.baseline.days,
    };
    // What a throttle lets pass differs from design to design, and leaves more of itself in every day.
    let part_load = Prior { sigma: 2.0 * prior.sigma, slope_sd: 0.03, ..prior };
    Kind { feature: Feature::Capacity, prior, part_load, sign: -1.0 }
}

/// Steps of the throttle that count as one unit of the driver at part load, %.
const THROTTLE_STEP: f64 = 5.0;

/// What a machine of its kind shows at that return temperature and ambient, relative to 0 and 30 Cel.
fn shape(ret: f64, ambient: f64, config: &Config) -> f64 {
    let c = &config.cooling;
    (1.0 + c.return_slope * ret).max(0.1) * (1.0 - c.ambient_slope * (ambient - 30.0)).max(0.1)
}

impl WeakCooling {
    pub(crate) fn observe(&mut self, o: &Observed, config: &Config) {
        let m = &o.moment;
        if m.masks.any(MASKS) {
            self.test.kept_out(m.masks.and(MASKS));
            return;
        }
        let c = &config.cooling;
        let Some((ret, supply)) = o.ret.zip(o.supply) else { return };
        if m.stage_min < config.masks.stage_min || !m.calm.slower_than(c.slope_k_per_min) {
            return;
        }
        let td = ret - supply;
        // Ambient has little influence; where it is not known the index is taken at 30 Cel.
        let ambient = o.ambient.unwrap_or(30.0);
        let index = (td / shape(ret, ambient, config)).ln();
        if !m.masks.any(Masks::MODULATED) {
            if td >= c.least_td_k {
                self.test.daily.push(m.at, m.class, Sample { y: index, ret, ambient });
            }
            return;
        }
        // At part load: the same for the share of the capacity that the throttle lets pass.
        let Some(throttle) = o.throttle.filter(|t| *t >= c.least_throttle) else {
            self.test.kept_out(Masks::MODULATED);
            return;
        };
        if td >= c.least_part_td_k && m.calm.settled {
            let share = c.throttle_leak + (1.0 - c.throttle_leak) * throttle / 100.0;
            let sample = Sample { y: index - share.ln(), ret: throttle / THROTTLE_STEP, ambient };
            self.test.daily.push(m.at, m.class.at_part_load(), sample);
        }
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

    pub(crate) fn settle(
        &mut self,
        now: i64,
        signs: Signs,
        setup: &UnitSetup,
        config: &Config,
        fleet: &Fleet,
        out: &mut Output,
    ) {
        let Some(judged) = self.test.settle(now, &kind(config), setup, config, fleet) else {
            return;
        };
        let c = &config.cooling;
        let loss = 1.0 - (-self.test.chart.level()).exp();
        let part_load = self.test.latest.is_some_and(|(class, _)| class.is_part_load());
        let least = c.least_loss * if part_load { c.part_load_factor } else { 1.0 };
        let subject = Subject { condition: Condition::WeakCooling, channel: None, at: now };
        if judged.strength > 1.0 && loss >= least {
            let to = if loss >= c.act_loss { Standing::Escalated } else { Standing::Open };
            self.rise(subject, to, judged, loss, signs, config, out);
        } else if judged.strength > 0.5 && loss >= least / 2.0 {
            if self.test.stand.flagged() {
                self.test.stand.unsure();
            } else {
                self.rise(subject, Standing::Pending, judged, loss, signs, config, out);
            }
        } else if judged.strength < config.chart.clear_share && loss < c.least_loss / 2.0 {
            self.test.stand.calm(subject, config.chart.clear_days, out, || {
                "The unit cools as strongly as it did".to_owned()
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
        loss: f64,
        signs: Signs,
        config: &Config,
        out: &mut Output,
    ) {
        let onset = self.test.onset(judged.at);
        let mut stand = std::mem::take(&mut self.test.stand);
        stand.rise(subject, to, onset, judged.strength, out, || self.words(loss, signs, config));
        self.test.stand = stand;
    }

    fn words(&self, loss: f64, signs: Signs, config: &Config) -> Words {
        let design = TrendTest::design(config);
        let mut because = Because::default();
        let mut agree = 0;
        let percent = 100.0 * loss;
        match self.test.latest {
            Some((class, day)) if class.is_part_load() => because.say(format!(
                "With the throttle {:.0} % open ({}) the air difference is over the last days {percent:.0} % less than \
                 this unit used to show at that opening.",
                f64::from(day.ret) * THROTTLE_STEP,
                class.words()
            )),
            Some((class, day)) => {
                let (ret, ambient) = (f64::from(day.ret), f64::from(day.ambient));
                let td = f64::from(day.y).exp() * shape(ret, ambient, config);
                because.say(format!(
                    "At full cooling the air difference is {td:.1} K at {ret:.1} C return air and {ambient:.0} C ambient \
                     ({}); over the last days {percent:.0} % less than this unit used to show under such conditions.",
                    class.words()
                ));
            }
            None => {}
        }
        if let Some((_, baseline)) = self.test.normal_now() {
            because.say(format!(
                "Its normal was learned from {} days and has a spread of {:.0} % from day to day.",
                baseline.days,
                100.0 * f64::from(baseline.sigma)
            ));
        }
        match signs.condensing_rise {
            Some(rise) if rise <= -0.5 => {
                agree = 1;
                because.say(format!(
                    "Condensing temperature over ambient fell by {:.1} K as well: less heat is moved. Low charge, a \
                     restriction or a worn compressor do that.",
                    -rise
                ));
            }
            Some(rise) if rise >= config.discharge.least_k => because.say(format!(
                "Condensing temperature over ambient rose by {rise:.1} K: the condenser side may be the cause."
            )),
            Some(_) => because.say("Condensing temperature over ambient is as it was.".to_owned()),
            None => because.left_out("condensing temperature over ambient is not known".to_owned()),
        }
        if self.test.peers_used() {
            because.say("What similar units showed on the same days was taken off.".to_owned());
        } else {
            because
                .left_out("fewer than the needed similar units to compare with on the same day".to_owned());
        }
        because.masked(self.test.masks());
        because.daily(
            "cooling lost against baseline",
            "%",
            self.test.history().map(|(d, r)| (d, 100.0 * (1.0 - (-r).exp()))),
        );
        because.limit("a case from", 100.0 * config.cooling.least_loss);
        because.limit("act from", 100.0 * config.cooling.act_loss);
        Words {
            headline: format!("Cools {percent:.0} % weaker than it used to"),
            confidence: confidence(&config.chart, &design, self.test.chart.sum(), agree, 0),
            hours_to_harm: None,
            evidence: because.done(),
        }
    }
}
