//! Time to the set point.
//!
//! Two ways: a pull-down takes longer than this unit's pull-downs did, finished or not; and a long run at full
//! cooling makes no progress towards its set point.

use rimeline_channels::{HOUR_MS, UnixMs};
use serde::{Deserialize, Serialize};

use crate::chart::{Chart, confidence_of_episodes};
use crate::config::Config;
use crate::evidence::{Because, day_of};
use crate::observed::Observed;
use crate::reduce::{median_f32, spread};
use crate::regime::{Changes, Masks, minutes};
use crate::say;
use crate::stand::{Stand, Subject, Words};
use crate::stats::{CusumDesign, PullDown as Fit};
use crate::{Condition, Output, Standing};

/// Pull-downs kept for drawing, and at most for a baseline.
const HISTORY: usize = 16;
/// Stops at the set point after which a long run is forgotten.
const SATISFIED_STOPS: u8 = 3;

/// A cooling index within this share of its baseline is normal.
const INDEX_NORMAL: f64 = 0.06;

/// A pull-down under way.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
struct Episode {
    began: UnixMs,
    set_point: f32,
    fit: Fit,
    /// When the air passed the start level on its way down, after which time is counted.
    passed: Option<UnixMs>,
}

/// A run that makes no progress.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
struct LongRun {
    since: Option<UnixMs>,
    /// Time cooled without a stop, masked time taken off.
    cooled_ms: i64,
    hour_sum: f32,
    hour_n: u16,
    hours: u16,
    /// Mean return air of the first and of the last whole hour.
    first: f32,
    latest: f32,
}

/// State kept per unit.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct PullDown {
    episode: Option<Episode>,
    long_run: LongRun,
    /// Logarithms of the times, thousandths, while learning.
    learning: Vec<i16>,
    /// Logarithm, spread and pull-downs of the baseline.
    baseline: Option<(f32, f32, u8)>,
    chart: Chart,
    history: Vec<(u16, u16)>,
    /// The condition stands because of a long run.
    by_long_run: bool,
    satisfied: u8,
    stand: Stand,
}

/// What keeps a sample out of a long run without ending it.
const PAUSE: Masks = Masks::DEFROST.or(Masks::DOOR).or(Masks::DOOR_GUESS).or(Masks::START_UP).or(Masks::GAP);

impl PullDown {
    /// Minutes since the pull-down under way began.
    pub(crate) fn running_min(&self, at: UnixMs) -> Option<f64> {
        self.episode.as_ref().map(|e| minutes(at - e.began))
    }

    /// `weaker`: smoothed loss of the capacity index, where it is known. Returns true where it could judge.
    pub(crate) fn observe(
        &mut self,
        o: &Observed,
        weaker: Option<f64>,
        config: &Config,
        out: &mut Output,
    ) -> bool {
        let m = &o.moment;
        let Some((ret, set_point)) = o.ret.zip(o.set_point) else {
            self.episode = None;
            return false;
        };
        self.follow_episode(o, ret, set_point, weaker, config, out);
        self.follow_run(o, ret, set_point, weaker, config, out);
        !m.masks.any(Masks::OFF.or(Masks::NO_STATE))
    }

    fn follow_episode(
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
        if let Some(episode) = &mut self.episode {
            let moved = (f64::from(episode.set_point) - set_point).abs() > config.masks.set_point_k;
            let over = ret - set_point;
            if !broken && !moved {
                episode.fit.step(minutes(m.at - episode.began), ret);
                if over <= c.start_k {
                    episode.passed.get_or_insert(m.at);
                }
            }
            let reached = over <= c.reached_k;
            if broken || moved || reached {
                let took = episode.passed.filter(|_| reached && !broken && !moved);
                let time = match took {
                    Some(passed) => Some(minutes(m.at - passed).max(1.0)),
                    None => predicted(episode, config),
                };
                let began = episode.began;
                self.episode = None;
                if let Some(time) = time {
                    self.ended(m.at, began, time, took.is_some(), weaker, config, out);
                }
            }
        } else if !broken && ret - set_point > c.start_k && !m.masks.any(Masks::START_UP) {
            let mut fit = Fit::default();
            fit.step(0.0, ret);
            self.episode = Some(Episode { began: m.at, set_point: set_point as f32, fit, passed: None });
        }
    }

    /// A pull-down ended, with the minutes it took, or would take, from the start level to the set point.
    #[allow(clippy::too_many_arguments)]
    fn ended(
        &mut self,
        at: UnixMs,
        began: UnixMs,
        time: f64,
        finished: bool,
        weaker: Option<f64>,
        config: &Config,
        out: &mut Output,
    ) {
        let c = &config.pull_down;
        let log = time.ln();
        let Some((normal, sigma, n)) = self.baseline else {
            self.learning.push((log * 1000.0) as i16);
            if self.learning.len() >= usize::from(c.episodes).min(HISTORY) {
                self.freeze(config);
            }
            return;
        };
        if self.history.len() >= HISTORY {
            self.history.remove(0);
        }
        self.history.push((day_of(began), time.min(f64::from(u16::MAX)) as u16));
        let design = design(config);
        self.chart.step(began, log - f64::from(normal), f64::from(sigma), u32::from(n), &design);
        let (strength, ratio) = (self.chart.strength(&design), self.chart.level().exp());
        let subject = Subject { condition: Condition::SlowPullDown, channel: None, at };
        // A warm load or a door lengthens pull-downs and leaves the cooling index: that takes more to be said.
        let index_is_normal = weaker.is_some_and(|loss| loss.abs() < INDEX_NORMAL);
        let needed = if index_is_normal { c.ratio * c.ratio } else { c.ratio };
        if strength > 1.0 && ratio >= needed {
            let onset = self.chart.onset(began);
            let mut stand = std::mem::take(&mut self.stand);
            stand.rise(subject, Standing::Open, onset, strength, out, || {
                self.words(time, finished, weaker, config)
            });
            self.stand = stand;
        } else if strength < config.chart.clear_share && !self.by_long_run {
            self.stand.calm(subject, config.chart.clear_days, out, || {
                "Pull-downs take as long as they used to".to_owned()
            });
        }
    }

    fn freeze(&mut self, config: &Config) {
        let mut values: Vec<f32> =
            std::mem::take(&mut self.learning).into_iter().map(|v| f32::from(v) / 1000.0).collect();
        let n = values.len() as f64;
        let Some(level) = median_f32(&mut values) else {
            return;
        };
        let own = spread(&values, level);
        let weight = config.baseline.fleet_weight;
        let sigma = ((n * own * own + weight * config.pull_down.sigma.powi(2)) / (n + weight)).sqrt();
        self.baseline = Some((level as f32, sigma as f32, n as u8));
    }

    fn follow_run(
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
        let defrosting = m.masks.any(Masks::DEFROST);
        let ends = m.changes.any(Changes::SET_POINT.or(Changes::DOOR_OPENED).or(Changes::MODE))
            || m.dt.is_none()
            || (!defrosting && !m.state.cooling())
            || m.masks.any(Masks::OFF.or(Masks::MODULATED));
        if ends {
            self.run_ended(o, ret, set_point, config, out);
            return;
        }
        if m.masks.any(PAUSE) {
            return;
        }
        let run = &mut self.long_run;
        run.since.get_or_insert(m.at);
        run.cooled_ms += m.dt.unwrap_or(0);
        run.hour_sum += ret as f32;
        run.hour_n += 1;
        if run.cooled_ms < i64::from(run.hours + 1) * HOUR_MS {
            return;
        }
        let mean = run.hour_sum / f32::from(run.hour_n);
        run.hours += 1;
        (run.hour_sum, run.hour_n) = (0.0, 0);
        if run.hours == 1 {
            run.first = mean;
        }
        run.latest = mean;
        let long = f64::from(run.hours) >= c.long_run_h;
        let still_over = f64::from(mean) > set_point + if m.start_stop() { 0.0 } else { c.reached_k };
        let progress = f64::from(run.first - mean) >= c.long_run_fall_k;
        if long && still_over && !progress {
            let onset = run.since.unwrap_or(m.at);
            let subject = Subject { condition: Condition::SlowPullDown, channel: None, at: m.at };
            let strength = f64::from(run.hours) / c.long_run_h;
            (self.by_long_run, self.satisfied) = (true, 0);
            let run = self.long_run.clone();
            let start_stop = m.start_stop();
            self.stand.rise(subject, Standing::Open, onset, strength, out, || {
                long_run_words(&run, (set_point, start_stop), o, weaker)
            });
        }
    }

    fn run_ended(&mut self, o: &Observed, ret: f64, set_point: f64, config: &Config, out: &mut Output) {
        let m = &o.moment;
        let was_running = self.long_run.cooled_ms > 0;
        self.long_run = LongRun::default();
        let satisfied = was_running && ret <= set_point + config.pull_down.reached_k && m.dt.is_some();
        if !(self.by_long_run && satisfied) {
            return;
        }
        self.satisfied += 1;
        if self.satisfied >= SATISFIED_STOPS {
            self.by_long_run = false;
            let subject = Subject { condition: Condition::SlowPullDown, channel: None, at: m.at };
            self.stand.fall(subject, out, || {
                format!("The unit reached its set point {SATISFIED_STOPS} times in a row")
            });
        }
    }

    pub(crate) fn flagged(&self) -> bool {
        self.stand.flagged()
    }

    /// Where the last judged pull-down stands, in words.
    pub(crate) fn said(&self, config: &Config) -> String {
        let strength = self.chart.strength(&design(config));
        match (self.history.last(), self.baseline) {
            (Some((_, minutes)), Some((normal, ..))) => format!(
                "at {:.0} % of its limit; the last pull-down took {minutes} min, {:.0} min are normal",
                100.0 * strength,
                f64::from(normal).exp()
            ),
            _ => "no pull-down was judged yet".to_owned(),
        }
    }

    /// Pull-downs learned; `None` once the baseline is complete.
    pub(crate) fn learning(&self) -> Option<usize> {
        self.baseline.is_none().then_some(self.learning.len())
    }

    fn words(&self, time: f64, finished: bool, weaker: Option<f64>, config: &Config) -> Words {
        let mut because = Because::default();
        let normal = self.baseline.map_or(0.0, |(normal, ..)| f64::from(normal).exp());
        let c = &config.pull_down;
        let took = if finished { "took" } else { "was cut short, and at its pace would have taken" };
        because.say(format!(
            "The last pull-down {took} {time:.0} min from {:.0} K to {:.0} K above the set point; this unit used to \
             take {normal:.0} min.",
            c.start_k, c.reached_k
        ));
        add_capacity(weaker, &mut because);
        because.daily("pull-down time", "min", self.history.iter().map(|(d, v)| (*d, f64::from(*v))));
        because.limit("baseline", normal);
        because.limit("a case from", normal * c.ratio);
        let design = design(config);
        let agree = u8::from(weaker.is_some_and(|w| w > 0.08));
        Words {
            headline: format!(
                "Pull-downs take {:.1} times as long as they used to",
                self.chart.level().exp()
            ),
            confidence: confidence_of_episodes(&config.chart, &design, self.chart.sum(), agree),
            hours_to_harm: None,
            evidence: because.done(),
        }
    }
}

/// Minutes from the start level to the set point, from the fit of an unfinished pull-down that went far enough.
fn predicted(episode: &Episode, config: &Config) -> Option<f64> {
    let c = &config.pull_down;
    let fit = &episode.fit;
    if fit.minutes() < c.fit_min || fit.fall() < c.fit_fall_k {
        return None;
    }
    let fitted = fit.fit()?;
    let set_point = f64::from(episode.set_point);
    let (from, to) = (fitted.minutes_to(set_point + c.start_k)?, fitted.minutes_to(set_point + c.reached_k)?);
    (to > from).then(|| (to - from).max(1.0))
}

fn design(config: &Config) -> CusumDesign {
    CusumDesign::new(config.pull_down.k, config.pull_down.h)
        .with_guard(config.baseline.guard)
        .with_clip(config.chart.clip)
}

fn add_capacity(weaker: Option<f64>, because: &mut Because) {
    match weaker {
        Some(loss) if loss > 0.08 => {
            because.say(format!(
                "Its cooling index is down by {:.0} % as well: the unit, not the load.",
                100.0 * loss
            ));
        }
        Some(loss) if loss < -0.08 => because.say(format!(
            "The air difference at full cooling is up by {:.0} %: too little air over the coil, as with ice or a fan.",
            -100.0 * loss
        )),
        Some(_) => because.say(
            "Its cooling index is near normal: look at load, door, seals and insulation first.".to_owned(),
        ),
        None => because
            .left_out("the cooling index has no baseline yet: load and unit cannot be told apart".to_owned()),
    }
}

fn long_run_words(
    run: &LongRun,
    (set_point, start_stop): (f64, bool),
    o: &Observed,
    weaker: Option<f64>,
) -> Words {
    let mut because = Because::default();
    let cooled = say::duration(run.cooled_ms);
    let mode = if start_stop { "start-stop mode" } else { "full cooling" };
    because.say(format!(
        "In {mode} the unit has cooled for {cooled} without a stop; the return air was {:.1} C in the first hour and \
         is {:.1} C in the last, at a set point of {set_point:.1} C.",
        run.first, run.latest
    ));
    if let Some(ambient) = o.ambient {
        because.say(format!("Ambient is {ambient:.0} C."));
    }
    add_capacity(weaker, &mut because);
    because.limit("set point", set_point);
    Words {
        headline: format!("Cools for {cooled} without reaching its set point"),
        confidence: if weaker.is_some_and(|w| w > 0.08) { 0.9 } else { 0.6 },
        hours_to_harm: None,
        evidence: because.done(),
    }
}

/// For a repaired unit: what was learned starts anew.
pub(crate) fn serviced(state: &mut PullDown) {
    *state = PullDown::default();
}
