//! Which reasons there are to set a reading aside.

use rimeline_channels::{Door, MINUTE_MS, Power, RunningMode, Stage, UnixMs};

use super::{Inputs, Masks, Regime, ms};
use crate::config::Config;

/// A rise of the return air is looked for within this time.
const DOOR_RISE_MS: i64 = 10 * MINUTE_MS;
/// A continuous unit without a throttle reading is taken to cool fully when this far above its set point, K.
const SURELY_FULL_K: f64 = 3.0;

impl Regime {
    pub(super) fn masks(
        &mut self,
        at: UnixMs,
        dt: Option<i64>,
        run_min: Option<f64>,
        clean: &Inputs,
        config: &Config,
    ) -> Masks {
        let c = &config.masks;
        let state = self.state;
        let mut m = Masks::default();
        m.set(Masks::OFF, state.power == Power::Off);
        m.set(Masks::GAP, dt.is_none());
        m.set(Masks::NO_STATE, state.stage == Stage::Unknown);
        m.set(Masks::SELF_TEST, state.stage == Stage::SelfTest);
        m.set(
            Masks::START_UP,
            run_min.is_some_and(|run| run < c.startup_min) || state.stage == Stage::Starting,
        );
        let defrost = self.defrost.masks(
            at,
            clean.ret,
            ms(c.defrost_longest_min),
            ms(c.defrost_recovery_min),
            c.recovered_k,
        );
        m.set(Masks::DEFROST, defrost);
        let longest = ms(c.door_longest_min);
        m.set(Masks::DOOR, self.door.masks(at, clean.ret, longest, longest, c.recovered_k));
        let settle = ms(c.settle_min);
        m.set(
            Masks::RECENT,
            self.door.recent(at, settle)
                || self.defrost.recent(at, settle)
                || self.heat_end.is_some_and(|end| at - end < ms(c.heated_min)),
        );
        let guess = self.guess_until.is_some_and(|until| at < until);
        m.set(Masks::DOOR_GUESS, guess);
        m.set(Masks::SET_POINT, self.set_point_masks(at, clean.ret, config));
        m.set(Masks::NOT_COOLING, !state.cooling());
        m.set(Masks::MODULATED, state.cooling() && !self.full_cooling(clean, config));
        m
    }

    fn set_point_masks(&mut self, at: UnixMs, ret: Option<f64>, config: &Config) -> bool {
        let (Some(since), Some(fixed)) = (self.set_point_at, self.set_point) else {
            return false;
        };
        let reached = ret.is_some_and(|r| (r - f64::from(fixed) / 10.0).abs() <= config.masks.recovered_k);
        if reached || at - since > ms(config.masks.set_point_longest_min) {
            self.set_point_at = None;
        }
        self.set_point_at.is_some()
    }

    fn full_cooling(&self, clean: &Inputs, config: &Config) -> bool {
        if let Some(throttle) = clean.throttle {
            return throttle >= config.cooling.throttle_open;
        }
        if self.state.running_mode != RunningMode::Continuous {
            return true;
        }
        // A continuous unit holds its set point with part of its capacity, unseen where no throttle is fitted.
        match (clean.ret, self.set_point) {
            (Some(ret), Some(fixed)) => ret - f64::from(fixed) / 10.0 > SURELY_FULL_K,
            _ => false,
        }
    }

    pub(super) fn guess_door(&mut self, at: UnixMs, ret: Option<f64>, config: &Config) {
        let Some(ret) = ret.map(|r| r as f32) else { return };
        let running = self.state.compressor_running() == Some(true);
        match self.low_return {
            Some((since, low)) if at - since <= DOOR_RISE_MS && ret >= low => {
                let rose = f64::from(ret - low) > config.masks.door_rise_k;
                let explained = self.defrost.since.is_some() || self.defrost.ended.is_some();
                if rose && running && self.state.door == Door::Unknown && !explained {
                    self.guess_until = Some(at + ms(config.masks.door_guess_min));
                }
            }
            _ => self.low_return = Some((at, ret)),
        }
    }
}
