use rimeline_channels::{Compressor, Door, MINUTE_MS, Power, RunningMode, Stage, State};

use super::{Changes, Inputs, Masks, Moment, Regime};
use crate::config::Config;

/// A unit that is fed minute by minute.
struct Fed {
    regime: Regime,
    config: Config,
    minute: i64,
    state: State,
}

impl Fed {
    fn new() -> Self {
        let state = State {
            power: Power::On,
            running_mode: RunningMode::StartStop,
            stage: Stage::CoolingHigh,
            compressor: Compressor::Running,
            door: Door::Closed,
            ..State::default()
        };
        Self { regime: Regime::default(), config: Config::default(), minute: 1_000, state }
    }

    fn at(&mut self, minute: i64, ret: f64) -> Moment {
        self.minute = minute;
        let at = minute * MINUTE_MS;
        let gap = self.regime.is_gap(at, Some(60), &self.config);
        self.regime.apply_state(at, self.state, gap);
        let inputs = Inputs { ret: Some(ret), pd: None, throttle: None };
        self.regime.moment(at, gap, &inputs, Some(60), &self.config)
    }

    /// The minutes, up to `most`, for which a mask lasts with the return air at `ret`.
    fn lasts(&mut self, mask: Masks, ret: f64, most: i64) -> i64 {
        let begin = self.minute;
        (1..=most).take_while(|i| self.at(begin + i, ret).masks.any(mask)).count() as i64
    }

    fn run(&mut self, minutes: i64, ret: f64) -> Option<Moment> {
        let begin = self.minute;
        (1..=minutes).map(|i| self.at(begin + i, ret)).last()
    }
}

#[test]
fn a_start_masks_for_ten_minutes() {
    let mut fed = Fed::new();
    fed.state.compressor = Compressor::Stopped;
    fed.state.stage = Stage::Satisfied;
    fed.run(30, 2.0);
    fed.state.compressor = Compressor::Running;
    fed.state.stage = Stage::CoolingHigh;
    let next = fed.minute + 1;
    assert!(fed.at(next, 2.0).changes.any(Changes::STARTED));
    assert_eq!(fed.lasts(Masks::START_UP, 2.0, 100), 9);
}

#[test]
fn a_door_masks_until_the_air_is_back_and_at_most_an_hour_after_closing() {
    for (ret, expected) in [(2.5, 0), (9.0, 60)] {
        let mut fed = Fed::new();
        fed.run(30, 2.0);
        fed.state.door = Door::Open;
        let next = fed.minute + 1;
        assert!(fed.at(next, 8.0).masks.any(Masks::DOOR));
        fed.run(5, 9.0);
        fed.state.door = Door::Closed;
        let next = fed.minute + 1;
        assert!(fed.at(next, 9.0).masks.any(Masks::DOOR.or(Masks::RECENT)));
        assert_eq!(fed.lasts(Masks::DOOR, ret, 200), expected, "return air {ret}");
    }
}

#[test]
fn a_door_that_is_never_reported_closed_does_not_mask_for_ever() {
    let mut fed = Fed::new();
    fed.run(30, 2.0);
    fed.state.door = Door::Open;
    let next = fed.minute + 1;
    fed.at(next, 2.0);
    assert_eq!(fed.lasts(Masks::DOOR, 2.0, 500), 60);
}

#[test]
fn a_defrost_masks_while_it_lasts_and_until_the_air_is_back() {
    let mut fed = Fed::new();
    fed.run(30, -20.0);
    fed.state.stage = Stage::Defrosting;
    let next = fed.minute + 1;
    assert!(fed.at(next, -19.0).changes.any(Changes::DEFROST_BEGAN));
    assert_eq!(fed.lasts(Masks::DEFROST, -15.0, 300), 75, "a defrost that never ends");
    fed.state.stage = Stage::CoolingHigh;
    let next = fed.minute + 1;
    let ended = fed.at(next, -15.0);
    assert!(ended.changes.any(Changes::DEFROST_ENDED) && ended.masks.any(Masks::DEFROST));
    assert_eq!(fed.lasts(Masks::DEFROST, -15.0, 300), 45, "air that never comes back");
}

#[test]
fn return_air_that_rises_while_the_unit_runs_is_a_possible_door_only_where_no_door_is_reported() {
    for (door, guessed) in [(Door::Unknown, true), (Door::Closed, false)] {
        let mut fed = Fed::new();
        fed.state.door = door;
        fed.run(30, 2.0);
        let next = fed.minute + 3;
        assert_eq!(fed.at(next, 6.0).masks.any(Masks::DOOR_GUESS), guessed, "{door:?}");
    }
}

#[test]
fn a_set_point_change_masks_until_it_is_reached_and_at_most_six_hours() {
    for (ret, expected) in [(-18.0, 0), (2.0, 360)] {
        let mut fed = Fed::new();
        fed.regime.apply_set_point(fed.minute * MINUTE_MS, 20, &fed.config);
        fed.run(30, 2.0);
        assert!(
            !fed.regime.apply_set_point(fed.minute * MINUTE_MS, 25, &fed.config),
            "half a kelvin is no change"
        );
        assert!(fed.regime.apply_set_point(fed.minute * MINUTE_MS, -180, &fed.config));
        assert_eq!(fed.lasts(Masks::SET_POINT, ret, 500), expected, "return air {ret}");
    }
}

#[test]
fn after_a_gap_nothing_is_assumed_of_the_run() {
    let mut fed = Fed::new();
    let before = fed.run(60, 2.0);
    assert!(before.is_some_and(|m| m.dt == Some(MINUTE_MS) && m.run_min.is_some_and(|run| run > 50.0)));
    let next = fed.minute + 120;
    let after = fed.at(next, 2.0);
    assert!(after.dt.is_none() && after.masks.any(Masks::GAP) && after.changes.any(Changes::GAP));
    assert_eq!(after.run_min, Some(0.0), "when this run began is not known");
    assert!(!after.changes.any(Changes::STARTED));
}

#[test]
fn a_continuous_unit_near_its_set_point_is_taken_to_be_modulated() {
    let mut fed = Fed::new();
    fed.state.running_mode = RunningMode::Continuous;
    fed.regime.apply_set_point(0, 20, &fed.config);
    for (ret, modulated) in [(2.5, true), (9.0, false)] {
        let next = fed.minute + 1;
        assert_eq!(fed.at(next, ret).masks.any(Masks::MODULATED), modulated, "{ret}");
    }
}

#[test]
fn the_cadence_follows_the_usual_interval_and_not_the_odd_one() {
    let (mut fed, mut at) = (Fed::new(), 0);
    for i in 0..400 {
        at += if i % 10 == 9 { 40 } else { 5 };
        let inputs = Inputs::default();
        fed.regime.moment(at * MINUTE_MS, false, &inputs, None, &fed.config);
    }
    let minutes = fed.regime.cadence_s(None) / 60.0;
    assert!((4.5..=6.0).contains(&minutes), "{minutes}");
    assert_eq!(fed.regime.cadence_s(Some(900)), 900.0, "what is stated is not learned");
}
