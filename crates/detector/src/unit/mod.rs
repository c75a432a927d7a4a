//! One unit: its state, and the order in which a reading passes through the layers.

mod bytes;
mod judge;
#[cfg(test)]
mod size_tests;

use rimeline_channels::{Channel, DAY_MS, Door, EventKind, Power, Reading, Stage, State, UnixMs};
use serde::{Deserialize, Serialize};

use crate::able::Able;
use crate::conditions::cycling::{self, Cycling};
use crate::conditions::discharge::Discharge;
use crate::conditions::missing::Missing;
use crate::conditions::noisy::Noisy;
use crate::conditions::out_of_range::{Around, OutOfRange};
use crate::conditions::pressure_offset::{self, PressureOffset};
use crate::conditions::pull_down::PullDown;
use crate::conditions::silence::Silence;
use crate::conditions::spiking::{self, Spiking, Stir};
use crate::conditions::stuck::Stuck;
use crate::conditions::twins::Twins;
use crate::conditions::weak_cooling::{Signs, WeakCooling};
use crate::config::Config;
use crate::evidence::day_of;
use crate::observed::Observed;
use crate::regime::{Changes, Inputs, Masks, Moment, Regime, minutes};
use crate::sensors::{self, Frame, Past, WATCHED, index};
use crate::{Condition, Fleet, Output, UnitSetup};
pub use bytes::StateError;

/// Whether a reading was judged.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// It was.
    Assessed,
    /// It is not newer than the last one of this unit; nothing changed.
    NotAssessed,
}

/// Everything the detectors remember of one unit: bounded, and the same after a trip through bytes.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct UnitState {
    regime: Regime,
    day: Option<u16>,
    /// Last start, stop or change of stage; masks of the last reading; last end of a defrost or switch-on.
    stirred: Option<UnixMs>,
    last_masks: Masks,
    graced: Option<UnixMs>,
    pasts: [Past; WATCHED],
    able: Able,
    out_of_range: OutOfRange,
    missing: Missing,
    spiking: Spiking,
    stuck: Stuck,
    noisy: Noisy,
    twins: Twins,
    offset: PressureOffset,
    weak_cooling: WeakCooling,
    pull_down: PullDown,
    cycling: Cycling,
    discharge: Discharge,
    silence: Silence,
}

/// Changes after which air differences and pressures move by themselves.
const MACHINE: Changes = Changes::STARTED.or(Changes::STOPPED).or(Changes::STAGE).or(Changes::SWITCHED_ON);

impl UnitState {
    /// A unit of which nothing is known yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Takes in the next reading of the unit. Findings are appended to `out`.
    pub fn observe(
        &mut self,
        reading: &Reading,
        setup: &UnitSetup,
        config: &Config,
        fleet: &mut Fleet,
        out: &mut Output,
    ) -> Outcome {
        let at = reading.time;
        let last = self.regime.last();
        if last.is_some_and(|last| at <= last) {
            return Outcome::NotAssessed;
        }
        self.turn_day(at, setup, config, fleet, out);
        self.settle(at, setup, config, fleet, out);

        let gap = self.regime.is_gap(at, setup.cadence_s, config);
        let dt = last.map(|last| at - last).filter(|_| !gap);
        self.silence.observe(at, config, out);
        let changes = self.regime.apply_state(at, reading.state, gap);
        self.note(at, changes, &reading.state, false, config);
        if gap {
            self.cycling.transition(at, Changes::GAP, &reading.state, false, config);
        }
        if let Some(fixed) = reading.fixed(Channel::SetPoint) {
            self.regime.apply_set_point(at, fixed, config);
        }

        let cadence_s = self.regime.cadence_s(setup.cadence_s);
        let around = Around { dt, cadence_s, setup, config, pasts: &self.pasts };
        let bad = self.out_of_range.step(reading, &around, out);
        self.watch_missing(reading, dt, setup, config, out);
        let frame = self.accept(reading, bad, gap, cadence_s, config, out);

        let inputs = Inputs {
            ret: frame.quantity(index::RETURN_CONTROL).or_else(|| frame.quantity(index::RETURN_CHECK)),
            pd: frame.quantity(index::DISCHARGE),
            throttle: reading
                .quantity(Channel::SuctionThrottle)
                .filter(|_| bad & Channel::SuctionThrottle.bit() == 0),
        };
        let moment = self.regime.moment(at, gap, &inputs, setup.cadence_s, config);
        self.last_masks = moment.masks;
        self.judge_sensors(&moment, &frame, config, out);
        self.judge_machine(&moment, frame, reading, setup, config, out);
        Outcome::Assessed
    }

    /// Takes in what happened between readings. Findings are appended to `out`.
    pub fn event(
        &mut self,
        kind: &EventKind,
        at: UnixMs,
        setup: &UnitSetup,
        config: &Config,
        _out: &mut Output,
    ) {
        match kind {
            EventKind::StateChanged(state) => {
                let gap = self.regime.is_gap(at, setup.cadence_s, config);
                let changes = self.regime.apply_state(at, *state, gap);
                self.note(at, changes, state, true, config);
            }
            EventKind::SetPointChanged(fixed) => {
                self.regime.apply_set_point(at, *fixed, config);
            }
            EventKind::AlarmRaised(_) | EventKind::AlarmCleared(_) => {}
        }
    }

    /// Lets time pass without a reading. Findings are appended to `out`.
    pub fn tick(&mut self, now: UnixMs, setup: &UnitSetup, config: &Config, out: &mut Output) {
        if let Some(last) = self.regime.last() {
            let cadence_s = self.regime.cadence_s(setup.cadence_s);
            self.silence.tick(now, last, cadence_s, self.regime.powered(), config, out);
        }
    }

    /// A person repaired it: the condition no longer stands, and what it was compared with is learned anew.
    pub fn serviced(&mut self, condition: Condition, channel: Option<Channel>, at: UnixMs) {
        match condition {
            Condition::SensorOutOfRange => {
                self.out_of_range.serviced(channel);
                self.missing.serviced();
            }
            Condition::SensorStuck => self.stuck.serviced(channel),
            Condition::SensorSpiking => self.spiking.serviced(channel),
            Condition::SensorNoisy => self.noisy.serviced(channel),
            Condition::TwinsDisagree => self.twins.serviced(channel),
            Condition::PressureOffset => pressure_offset::serviced(&mut self.offset, at),
            Condition::WeakCooling => self.weak_cooling = WeakCooling::default(),
            Condition::SlowPullDown => self.pull_down.serviced(),
            Condition::ShortCycling => self.cycling.serviced(),
            Condition::RisingDischargePressure => self.discharge = Discharge::default(),
            Condition::Silent => self.silence.serviced(),
        }
    }

    /// Compressor starts seen since the beginning, by states and events.
    pub fn starts_seen(&self) -> u32 {
        self.cycling.total()
    }

    fn note(&mut self, at: UnixMs, changes: Changes, state: &State, event: bool, config: &Config) {
        self.cycling.transition(at, changes, state, event, config);
        if changes.any(MACHINE) {
            self.stirred = Some(at);
        }
        if changes.any(Changes::DEFROST_ENDED.or(Changes::SWITCHED_ON)) {
            self.graced = Some(at);
        }
    }

    fn watch_missing(
        &mut self,
        reading: &Reading,
        dt: Option<i64>,
        setup: &UnitSetup,
        config: &Config,
        out: &mut Output,
    ) {
        let active = reading.state.power != Power::Off && reading.state.compressor_running() != Some(false);
        let active_ms = if active { dt.unwrap_or(0) } else { 0 };
        self.missing.step(reading, self.out_of_range.present(setup), active_ms, config, out);
    }

    /// Sets aside what cannot be used: the frame holds what is left.
    fn accept(
        &mut self,
        reading: &Reading,
        bad: u64,
        gap: bool,
        cadence_s: f64,
        config: &Config,
        out: &mut Output,
    ) -> Frame {
        let mut frame = Frame::of(reading, bad);
        if gap {
            self.spiking.gap();
            self.pasts.iter_mut().for_each(Past::forget);
        }
        let stir = self.stir(reading, cadence_s);
        let suspect = sensors::of_channels(
            self.out_of_range.suspect() | self.stuck.suspect() | self.twins.suspect(config),
        );
        self.spiking.step(reading.time, &mut frame, &mut self.pasts, (stir, suspect), config, out);
        frame
    }

    fn stir(&self, reading: &Reading, cadence_s: f64) -> Stir {
        let stir_ms = spiking::stir_ms(cadence_s);
        let air = Masks::DEFROST.or(Masks::DOOR).or(Masks::DOOR_GUESS);
        Stir {
            machine: self.stirred.is_some_and(|at| reading.time - at <= stir_ms),
            air: self.last_masks.any(air)
                || reading.state.door == Door::Open
                || reading.state.stage == Stage::Defrosting,
        }
    }

    fn judge_sensors(&mut self, m: &Moment, frame: &Frame, config: &Config, out: &mut Output) {
        let minutes = m.dt.map_or(0.0, minutes);
        self.able.reported(minutes);
        self.able.decided(Condition::SensorOutOfRange, minutes);
        if frame.has() != 0 {
            self.able.decided(Condition::SensorSpiking, minutes);
        }
        let suspect = self.out_of_range.suspect() | self.noisy.suspect() | self.stuck.suspect();
        self.stuck.step(m, frame, &self.pasts, sensors::of_channels(suspect), config, out);
        if m.running == Some(true) && (frame.has() & 0b10_1111).count_ones() >= 2 {
            self.able.decided(Condition::SensorStuck, minutes);
        }
        let air = Masks::DEFROST.or(Masks::DOOR).or(Masks::DOOR_GUESS);
        let stir_ms = spiking::stir_ms(m.cadence_s);
        let quiet = !m.masks.any(air) && self.stirred.is_none_or(|at| m.at - at > stir_ms);
        self.noisy.step(m, frame, &self.pasts, quiet, config);
        if self.silence.live() {
            self.able.decided(Condition::Silent, minutes);
        }
    }

    fn judge_machine(
        &mut self,
        m: &Moment,
        frame: Frame,
        reading: &Reading,
        setup: &UnitSetup,
        config: &Config,
        out: &mut Output,
    ) {
        let other = self.out_of_range.suspect() | self.noisy.suspect() | self.stuck.suspect();
        let suspect = other | self.twins.suspect(config) | self.offset.suspect();
        let observed = Observed::new(*m, frame, reading, suspect);
        let span = m.dt.map_or(0.0, minutes);
        self.twins.observe(&observed, &frame, other, config, out);
        // An offset that is open must go on being looked at, or it would never clear.
        let equalised = Observed::new(*m, frame, reading, other);
        let believed_before = self.offset.suspect() == 0;
        if self.offset.observe(&equalised, setup, config, out) {
            self.able.decided(Condition::PressureOffset, 1440.0);
        }
        if believed_before && self.offset.suspect() & Channel::DischargePressure.bit() != 0 {
            self.discharge.withdraw(m.at, out);
        }
        self.weak_cooling.observe(&observed, config);
        let pull_down_min = self.pull_down.running_min(m.at);
        self.discharge.observe(&observed, pull_down_min, setup, config, out);
        let weaker = self.weaker();
        if self.pull_down.observe(&observed, weaker, config, out) {
            self.able.decided(Condition::SlowPullDown, span);
        }
        let grace = self.graced.is_some_and(|at| m.at - at <= cycling::grace_ms(config));
        if self.cycling.observe(&observed, grace, setup, config, out) && self.cycling.learning().is_none() {
            self.able.decided(Condition::ShortCycling, span);
        }
    }

    /// Smoothed loss of the capacity index, once it is judged.
    fn weaker(&self) -> Option<f64> {
        let test = &self.weak_cooling.test;
        (test.judged_days() > 0).then(|| 1.0 - (-test.chart.level()).exp())
    }

    /// Smoothed rise of condensing over ambient, once it is judged, K.
    fn condensing_rise(&self) -> Option<f64> {
        let test = &self.discharge.test;
        (test.judged_days() > 0).then(|| test.chart.level())
    }

    /// Closes the day that has passed, if one has.
    fn turn_day(
        &mut self,
        at: UnixMs,
        setup: &UnitSetup,
        config: &Config,
        fleet: &mut Fleet,
        out: &mut Output,
    ) {
        let today = day_of(at);
        let Some(day) = self.day.replace(today).filter(|day| *day != today) else {
            return;
        };
        let cadence_min = self.regime.cadence_s(setup.cadence_s) / 60.0;
        let end = i64::from(day + 1) * DAY_MS;
        // What the end of the day decides is decided by the reading that ends it.
        debug_assert!(end <= at);
        self.noisy.close_day(at, &self.pasts, config, out);
        if self.noisy.learned() >= config.noise.days {
            self.able.decided_today(Condition::SensorNoisy);
        }
        if self.twins.close_day(day, at, &self.pasts, config, out) > 0 {
            self.able.decided_today(Condition::TwinsDisagree);
        }
        if self.cycling.close_day(day, at, config, out) {
            // Minutes in the mode were counted as they came.
        }
        if self.weak_cooling.close_day(day, cadence_min, setup, config, fleet) {
            self.able.decided_today(Condition::WeakCooling);
        }
        if self.discharge.close_day(day, cadence_min, setup, config, fleet) {
            self.able.decided_today(Condition::RisingDischargePressure);
        }
        self.able.close_day();
    }

    /// Judges days for which the other units have had time to report.
    fn settle(&mut self, at: UnixMs, setup: &UnitSetup, config: &Config, fleet: &Fleet, out: &mut Output) {
        let signs = Signs { condensing_rise: self.condensing_rise() };
        self.weak_cooling.settle(at, signs, setup, config, fleet, out);
        let weaker = self.weaker();
        self.discharge.settle(at, weaker, setup, config, fleet, out);
    }
}
