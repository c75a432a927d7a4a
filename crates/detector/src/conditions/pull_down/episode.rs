//! A pull-down against this unit's own pull-downs.
//!
//! Compared is the time from a fixed distance to the set point down to it, so that where the pull-down began matters
//! less; what is left of it, and of ambient, is learned with the baseline.

use rimeline_channels::UnixMs;
use serde::{Deserialize, Serialize};

use super::{INDEX_NORMAL, PullDown, add_capacity};
use crate::chart::confidence_of_episodes;
use crate::config::Config;
use crate::evidence::{Because, day_of};
use crate::normal::{Day, Prior};
use crate::observed::Observed;
use crate::regime::{Masks, ModeClass, minutes};
use crate::stand::{Subject, Words};
use crate::stats::{CusumDesign, PullDown as Fit};
use crate::{Condition, Output, Standing};

/// Pull-downs kept for drawing.
const HISTORY: usize = 16;
/// Ambient assumed where none is known, Cel.
const AMBIENT: f64 = 25.0;
/// Start excess at which nothing is added for it, K.
const START_EXCESS: f64 = 15.0;

/// A pull-down under way.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Episode {
    began: UnixMs,
    class: ModeClass,
    set_point: f32,
    excess: f32,
    ambient: f32,
    fit: Fit,
    /// When the air passed the start level on its way down, after which time is counted.
    passed: Option<UnixMs>,
}

/// A pull-down that has ended.
#[derive(Clone, Copy, Debug)]
struct Ended {
    at: UnixMs,
    began: UnixMs,
    class: ModeClass,
    /// Minutes it took from the start level to the set point, or would have taken at its pace.
    time: f64,
    finished: bool,
    excess: f64,
    ambient: f64,
}

impl Episode {
    pub(super) fn began(&self) -> UnixMs {
        self.began
    }
}

impl Ended {
    /// The part of the logarithm of the time that ambient and start explain in any box.
    fn explained(&self, config: &Config) -> f64 {
        let c = &config.pull_down;
        c.ambient_slope * (self.ambient - AMBIENT) + c.excess_power * (self.excess / START_EXCESS).ln()
    }

    fn day(&self, config: &Config) -> Day {
        Day {
            y: (self.time.ln() - self.explained(config)) as f32,
            ret: self.excess as f32,
            ambient: self.ambient as f32,
        }
    }
}

fn prior(config: &Config) -> Prior {
    Prior {
        sigma: config.pull_down.sigma,
        slope_sd: 0.02,
        ambient_sd: 0.02,
        needed: config.pull_down.episodes,
    }
}

impl PullDown {
    pub(super) fn follow_episode(
        &mut self,
        o: &Observed,
        ret: f64,
        set_point: f64,
        weaker: Option<f64>,
        config: &Config,
        out: &mut Output,
    ) {
        let m = &o.moment;
        let c = &config.pull_down;
        let broken = m.dt.is_none()
            || !m.state.cooling()
            || m.masks.any(Masks::DOOR.or(Masks::DOOR_GUESS).or(Masks::DEFROST).or(Masks::OFF));
        let over = ret - set_point;
        let Some(episode) = &mut self.episode else {
            if !broken && over > c.start_k && !m.masks.any(Masks::START_UP) {
                let mut fit = Fit::default();
                fit.step(0.0, ret);
                self.episode = Some(Episode {
                    began: m.at,
                    class: m.class.without_speed(),
                    set_point: set_point as f32,
                    excess: over as f32,
                    ambient: o.ambient.unwrap_or(AMBIENT) as f32,
                    fit,
                    passed: None,
                });
            }
            return;
        };
        let moved = (f64::from(episode.set_point) - set_point).abs() > config.masks.set_point_k;
        if !broken && !moved {
            episode.fit.step(minutes(m.at - episode.began), ret);
            if over <= c.start_k {
                episode.passed.get_or_insert(m.at);
            }
        }
        let reached = over <= c.reached_k;
        if !(broken || moved || reached) {
            return;
        }
        let took = episode.passed.filter(|_| reached && !broken && !moved);
        let time = match took {
            Some(passed) => Some(minutes(m.at - passed).max(1.0)),
            None => predicted(episode, config),
        };
        let ended = time.map(|time| Ended {
            at: m.at,
            began: episode.began,
            class: episode.class,
            time,
            finished: took.is_some(),
            excess: f64::from(episode.excess),
            ambient: f64::from(episode.ambient),
        });
        self.episode = None;
        if let Some(ended) = ended {
            self.judge(&ended, weaker, config, out);
        }
    }

    fn judge(&mut self, ended: &Ended, weaker: Option<f64>, config: &Config, out: &mut Output) {
        let c = &config.pull_down;
        let number = day_of(ended.began);
        let day = ended.day(config);
        let Some(baseline) = self.normal.baseline(ended.class).copied() else {
            self.normal.learn(ended.class, number, &day, prior(config), config);
            return;
        };
        self.normal.used(ended.class, number);
        let Some(expected) = baseline.expected(&day) else { return };
        let normal = (expected + ended.explained(config)).exp();
        if self.history.len() >= HISTORY {
            self.history.remove(0);
        }
        let whole = |minutes: f64| minutes.min(f64::from(u16::MAX)) as u16;
        self.history.push((number, whole(ended.time), whole(normal)));
        let design = design(config);
        let residual = f64::from(day.y) - expected;
        self.chart.step(ended.began, residual, f64::from(baseline.sigma), u32::from(baseline.days), &design);
        let (strength, ratio) = (self.chart.strength(&design), self.chart.level().exp());
        let subject = Subject { condition: Condition::SlowPullDown, channel: None, at: ended.at };
        // A warm load or a door lengthens pull-downs and leaves the cooling index: that takes more to be said.
        let by_the_unit = weaker.is_some_and(|loss| loss.abs() >= INDEX_NORMAL);
        let needed = if by_the_unit { c.ratio } else { c.ratio * c.ratio };
        if strength > 1.0 && ratio >= needed {
            let onset = self.chart.onset(ended.began);
            let mut stand = std::mem::take(&mut self.stand);
            stand.rise(subject, Standing::Open, onset, strength, out, || {
                self.words(ended, normal, weaker, config)
            });
            self.stand = stand;
        } else if strength < config.chart.clear_share && !self.by_long_run {
            self.stand.calm(subject, config.chart.clear_days, out, || {
                "Pull-downs take as long as they used to".to_owned()
            });
        }
    }

    /// Where the last judged pull-down stands, in words.
    pub(crate) fn said(&self, config: &Config) -> String {
        let strength = self.chart.strength(&design(config));
        self.history.last().map_or_else(
            || "no pull-down was judged yet".to_owned(),
            |(_, minutes, normal)| {
                format!(
                    "at {:.0} % of its limit; the last pull-down took {minutes} min, {normal} min were expected",
                    100.0 * strength
                )
            },
        )
    }

    fn words(&self, ended: &Ended, normal: f64, weaker: Option<f64>, config: &Config) -> Words {
        let mut because = Because::default();
        let c = &config.pull_down;
        let took = if ended.finished { "took" } else { "was cut short, and at its pace would have taken" };
        because.say(format!(
            "The last pull-down {took} {:.0} min from {:.0} K to {:.0} K above the set point; from {:.0} K above it \
             and at {:.0} C ambient this unit used to take {normal:.0} min.",
            ended.time, c.start_k, c.reached_k, ended.excess, ended.ambient
        ));
        add_capacity(weaker, &mut because);
        let series =
            |of: fn(&(u16, u16, u16)) -> u16| self.history.iter().map(move |p| (p.0, f64::from(of(p))));
        because.daily("pull-down time", "min", series(|p| p.1));
        because.daily("pull-down time expected", "min", series(|p| p.2));
        because.limit("a case from, of the expected", c.ratio);
        let agree = u8::from(weaker.is_some_and(|w| w > 0.08));
        Words {
            headline: format!(
                "Pull-downs take {:.1} times as long as they used to",
                self.chart.level().exp()
            ),
            confidence: confidence_of_episodes(&config.chart, &design(config), self.chart.sum(), agree),
            hours_to_harm: None,
            evidence: because.done(),
        }
    }
}

/// Minutes from the start level to the set point, from the fit of an unfinished pull-down that went far enough.
fn predicted(episode: &Episode, config: &Config) -> Option<f64> {
    let c = &config.pull_down;
    let fit = &episode.fit;
    // From the start level on: what lies before it tells too little of the way to the set point.
    if episode.passed.is_none() || fit.minutes() < c.fit_min || fit.fall() < c.fit_fall_k {
        return None;
    }
    let fitted = fit.fit()?;
    let set_point = f64::from(episode.set_point);
    let (from, to) = (fitted.minutes_to(set_point + c.start_k)?, fitted.minutes_to(set_point + c.reached_k)?);
    let further = to - fit.minutes();
    (to > from && further < fit.minutes()).then(|| (to - from).max(1.0))
}

fn design(config: &Config) -> CusumDesign {
    CusumDesign::new(config.pull_down.k, config.pull_down.h)
        .with_guard(config.baseline.guard)
        .with_clip(config.chart.clip)
}
