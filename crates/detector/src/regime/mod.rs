//! What a unit is doing, since when, and why its readings may have to be set aside.

mod class;
mod disturbance;
mod masking;
mod masks;
mod steady;
#[cfg(test)]
mod tests;

use rimeline_channels::{Door, MINUTE_MS, Power, RunningMode, Stage, State, UnixMs};
use serde::{Deserialize, Serialize};

pub(crate) use class::ModeClass;
use disturbance::Disturbance;
pub(crate) use masks::{Changes, Masks};
pub(crate) use steady::Calm;
use steady::Settling;

use crate::config::Config;

/// The cadence assumed until one was learned, s.
const FIRST_CADENCE_S: f32 = 300.0;

/// State kept per unit.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Regime {
    last: Option<UnixMs>,
    state_at: Option<UnixMs>,
    state: State,
    cadence_s: f32,
    run_since: Option<UnixMs>,
    still_since: Option<UnixMs>,
    stage_since: Option<UnixMs>,
    on_since: Option<UnixMs>,
    heat_end: Option<UnixMs>,
    defrost: Disturbance,
    door: Disturbance,
    guess_until: Option<UnixMs>,
    low_return: Option<(UnixMs, f32)>,
    set_point: Option<i32>,
    set_point_at: Option<UnixMs>,
    settling: Settling,
    /// Changes since the last reading.
    pending: Changes,
}

/// What a unit is doing at one reading.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Moment {
    pub(crate) at: UnixMs,
    /// Time since the reading before; `None` for the first and across a gap.
    pub(crate) dt: Option<i64>,
    pub(crate) state: State,
    pub(crate) masks: Masks,
    pub(crate) changes: Changes,
    pub(crate) running: Option<bool>,
    /// Minutes since the compressor started, where it was seen to run.
    pub(crate) run_min: Option<f64>,
    /// Minutes in this stage.
    pub(crate) stage_min: f64,
    /// Minutes since the compressor stopped, where it was seen to stand.
    pub(crate) still_min: Option<f64>,
    pub(crate) class: ModeClass,
    pub(crate) calm: Calm,
    pub(crate) cadence_s: f64,
}

impl Moment {
    pub(crate) fn start_stop(&self) -> bool {
        self.state.running_mode == RunningMode::StartStop
    }

    pub(crate) fn cadence_min(&self) -> f64 {
        self.cadence_s / 60.0
    }
}

pub(crate) fn minutes(ms: i64) -> f64 {
    ms as f64 / MINUTE_MS as f64
}

fn ms(minutes: f64) -> i64 {
    (minutes * MINUTE_MS as f64) as i64
}

impl Regime {
    pub(crate) fn last(&self) -> Option<UnixMs> {
        self.last
    }

    pub(crate) fn cadence_s(&self, stated: Option<u32>) -> f64 {
        match stated {
            Some(s) if s > 0 => f64::from(s),
            _ if self.cadence_s > 0.0 => f64::from(self.cadence_s),
            _ => f64::from(FIRST_CADENCE_S),
        }
    }

    pub(crate) fn running_mode(&self) -> RunningMode {
        self.state.running_mode
    }

    pub(crate) fn powered(&self) -> Power {
        self.state.power
    }

    /// Takes over a state, from a reading or an event, and tells what changed. An older state than the one held
    /// changes nothing.
    pub(crate) fn apply_state(&mut self, at: UnixMs, state: State, gap: bool) -> Changes {
        let mut changes = Changes::default();
        if self.state_at.is_some_and(|held| at < held) {
            return changes;
        }
        let first = self.state_at.replace(at).is_none() || gap;
        let was = std::mem::replace(&mut self.state, state);
        self.track_compressor(at, &was, first, &mut changes);
        self.track_stage(at, &was, first, &mut changes);
        if state.door != was.door {
            match state.door {
                Door::Open => {
                    let ret = self.low_return.map(|(_, r)| r);
                    self.door.begin(at, ret);
                    changes.add(Changes::DOOR_OPENED);
                }
                _ if self.door.since.is_some() => {
                    self.door.end(at);
                    changes.add(Changes::DOOR_CLOSED);
                }
                _ => {}
            }
        }
        if state.power != was.power && state.power == Power::On {
            self.on_since = Some(at);
            if !first {
                changes.add(Changes::SWITCHED_ON);
            }
        }
        if state.running_mode != was.running_mode || state.drive != was.drive {
            changes.add(Changes::MODE);
        }
        self.pending.add(changes);
        changes
    }

    fn track_compressor(&mut self, at: UnixMs, was: &State, first: bool, changes: &mut Changes) {
        let (before, now) = (was.compressor_running(), self.state.compressor_running());
        match now {
            Some(true) => {
                self.still_since = None;
                if first || self.run_since.is_none() {
                    self.run_since = Some(at);
                }
                if !first && before == Some(false) {
                    changes.add(Changes::STARTED);
                }
            }
            Some(false) => {
                self.run_since = None;
                if first || self.still_since.is_none() {
                    self.still_since = Some(at);
                }
                if !first && before == Some(true) {
                    changes.add(Changes::STOPPED);
                }
            }
            None => {
                self.run_since = None;
                self.still_since = None;
            }
        }
    }

    fn track_stage(&mut self, at: UnixMs, was: &State, first: bool, changes: &mut Changes) {
        if first || self.state.stage != was.stage {
            self.stage_since = Some(at);
            changes.add(Changes::STAGE);
        }
        if was.stage == Stage::Heating && self.state.stage != Stage::Heating {
            self.heat_end = Some(at);
        }
        let defrosting = self.state.stage == Stage::Defrosting;
        if defrosting && self.defrost.since.is_none() {
            let ret = self.low_return.map(|(_, r)| r);
            self.defrost.begin(at, ret);
            changes.add(Changes::DEFROST_BEGAN);
        } else if !defrosting && self.defrost.since.is_some() {
            self.defrost.end(at);
            changes.add(Changes::DEFROST_ENDED);
        }
    }

    /// Takes over a set point and tells whether it is another one.
    pub(crate) fn apply_set_point(&mut self, at: UnixMs, fixed: i32, config: &Config) -> bool {
        let moved = self
            .set_point
            .replace(fixed)
            .is_some_and(|was| f64::from((was - fixed).abs()) / 10.0 > config.masks.set_point_k);
        if moved {
            self.set_point_at = Some(at);
            self.pending.add(Changes::SET_POINT);
        }
        moved
    }

    /// Whether readings at `at` come after a gap.
    pub(crate) fn is_gap(&self, at: UnixMs, stated: Option<u32>, config: &Config) -> bool {
        let limit = (self.cadence_s(stated) * 1000.0 * config.masks.gap_cadences) as i64;
        self.last.is_none_or(|last| at - last > limit.max(5 * MINUTE_MS))
    }

    /// The last step of a reading: learns the cadence, settles, and says what the unit is doing.
    ///
    /// `ret`, `pd` and `throttle` are the clean return air, discharge pressure and suction throttle.
    pub(crate) fn moment(
        &mut self,
        at: UnixMs,
        gap: bool,
        clean: &Inputs,
        stated: Option<u32>,
        config: &Config,
    ) -> Moment {
        let dt = self.last.filter(|_| !gap).map(|last| at - last);
        if let Some(last) = self.last {
            self.learn_cadence(at - last);
        }
        self.last = Some(at);
        let mut changes = std::mem::take(&mut self.pending);
        if gap {
            changes.add(Changes::GAP);
            self.settling.restart();
            self.low_return = None;
        }
        if changes.any(Changes::STARTED.or(Changes::STOPPED)) {
            self.settling.restart();
        }
        let changed = changes.any(Changes::STAGE);
        let calm = self.settling.step(clean.ret, clean.pd, dt.unwrap_or(0), changed, &config.steady);
        self.guess_door(at, clean.ret, config);
        let running = self.state.compressor_running();
        let run_min = self.run_since.map(|since| minutes(at - since));
        let masks = self.masks(at, dt, run_min, clean, config);
        Moment {
            at,
            dt,
            state: self.state,
            masks,
            changes,
            running,
            run_min,
            stage_min: self.stage_since.map_or(0.0, |since| minutes(at - since)),
            still_min: self.still_since.map(|since| minutes(at - since)),
            class: ModeClass::new(&self.state, self.set_point),
            calm,
            cadence_s: self.cadence_s(stated),
        }
    }

    fn learn_cadence(&mut self, dt: i64) {
        let seconds = dt as f32 / 1000.0;
        if !(1.0..=7200.0).contains(&seconds) {
            return;
        }
        if self.cadence_s <= 0.0 {
            self.cadence_s = seconds;
        } else {
            // Follows the median: a small step towards each new interval, whatever its size.
            let near = (self.cadence_s * 0.05).min((seconds - self.cadence_s).abs());
            self.cadence_s += near.copysign(seconds - self.cadence_s);
        }
    }
}

/// Clean values the regime looks at.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Inputs {
    pub(crate) ret: Option<f64>,
    pub(crate) pd: Option<f64>,
    pub(crate) throttle: Option<f64>,
}
