//! A long run at full cooling that makes no progress towards its set point.

use rimeline_channels::{HOUR_MS, UnixMs};
use serde::{Deserialize, Serialize};

use super::{INDEX_NORMAL, PullDown, add_capacity};
use crate::config::Config;
use crate::evidence::Because;
use crate::observed::Observed;
use crate::regime::{Changes, Masks};
use crate::say;
use crate::stand::{Subject, Words};
use crate::{Condition, Output, Standing};

/// Stops at the set point after which a long run is forgotten.
const SATISFIED_STOPS: u8 = 3;

/// A run that makes no progress.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct LongRun {
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

/// What keeps a sample out of a long run without ending it.
const PAUSE: Masks = Masks::DEFROST.or(Masks::DOOR).or(Masks::DOOR_GUESS).or(Masks::START_UP).or(Masks::GAP);

impl PullDown {
    pub(super) fn follow_run(
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
        // A unit that keeps its strength and hovers about its set point on a hot day is at work, not at fault.
        let strong = weaker.is_some_and(|loss| loss.abs() < INDEX_NORMAL);
        let over = if m.start_stop() && !strong { c.long_run_over_k } else { c.reached_k };
        let still_over = f64::from(mean) > set_point + over;
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
