//! One unit in time: people, weather, controller, circuit, box, engine and sensors, half a minute at a step.

use std::sync::Arc;

use rimeline_channels::{
    Compressor, DAY_MS, DefrostOrigin, Door, Drive, Event, EventKind, Power, State, UnixMs,
};

use crate::cargo_box::CargoBox;
use crate::chance::Chance;
use crate::circuit::Circuit;
use crate::coil::Coil;
use crate::control::Controller;
use crate::design::Design;
use crate::effects::{Effects, Planned};
use crate::engine::Engine;
use crate::plan::{Act, Action};
use crate::sensors::{LAGGED, Sensors};
use crate::unit::{Body, LookAlike, Unit};
use crate::weather::{Outside, Weather};

/// Length of a step, s.
pub(crate) const STEP_S: i64 = 30;

/// A unit and everything that acts on it.
#[derive(Debug)]
pub(crate) struct Machine {
    pub(crate) index: u32,
    pub(crate) design: Design,
    pub(crate) start: UnixMs,
    /// Seconds since the start.
    pub(crate) now_s: i64,
    pub(crate) weather: Arc<Weather>,
    pub(crate) actions: std::vec::IntoIter<Action>,
    pub(crate) next_action: Option<Action>,
    pub(crate) faults: Vec<Planned>,
    pub(crate) effects: Effects,
    pub(crate) chance: Chance,
    days: Chance,
    pub(crate) controller: Controller,
    pub(crate) circuit: Circuit,
    pub(crate) coil: Coil,
    pub(crate) cargo_box: CargoBox,
    pub(crate) engine: Engine,
    pub(crate) sensors: Sensors,
    pub(crate) outside: Outside,
    pub(crate) supply: f64,
    pub(crate) return_air: f64,
    pub(crate) condenser_inlet: f64,
    pub(crate) discharge_abs: f64,
    pub(crate) suction_abs: f64,
    pub(crate) work_share: f64,
    pub(crate) door_open: bool,
    pub(crate) shore: bool,
    pub(crate) moving: bool,
    pub(crate) state: State,
    pub(crate) coil_size: f64,
    /// How much warmer the condenser's air is when parked by day, K.
    pub(crate) recirculated_k: f64,
    /// How much the sun warms the ambient probe when parked, K.
    probe_sun_k: f64,
    day: i64,
    pub(crate) condenser_day: f64,
    pub(crate) evaporator_day: f64,
    left_off_since: Option<i64>,
    pub(crate) alarms: u8,
}

impl Machine {
    #[expect(
        clippy::too_many_arguments,
        reason = "called once, by the builder, with parts that have no common home"
    )]
    pub(crate) fn new(
        index: u32,
        unit: &Unit,
        design: Design,
        start: UnixMs,
        weather: Arc<Weather>,
        actions: Vec<Action>,
        faults: Vec<Planned>,
        mut chance: Chance,
    ) -> Self {
        let outside = weather.at(0);
        let t = outside.air;
        let sensors = Sensors::new(unit, &faults, t, STEP_S as f64, &mut chance);
        let engine = Engine::new(&design, t, &mut chance);
        let mut actions = actions.into_iter();
        let next_action = actions.next();
        Self {
            index,
            start,
            now_s: 0,
            weather,
            next_action,
            actions,
            faults,
            days: chance.fork(99),
            effects: Effects::default(),
            controller: Controller::new(unit.service.running_mode()),
            circuit: Circuit::new(t),
            coil: Coil::new(t),
            cargo_box: CargoBox::new(t),
            engine,
            sensors,
            outside,
            supply: t,
            return_air: t,
            condenser_inlet: t,
            discharge_abs: design.fluid.high_side_kpa(t),
            suction_abs: design.fluid.high_side_kpa(t),
            work_share: 0.0,
            door_open: false,
            shore: false,
            moving: false,
            state: State::default(),
            coil_size: if unit.body == Body::SemiTrailer { 1.0 } else { 0.6 },
            recirculated_k: if unit.look_alikes.contains(&LookAlike::NoseToTail) { 4.5 } else { 0.0 },
            probe_sun_k: if unit.look_alikes.contains(&LookAlike::SunnyAmbientProbe) { 6.0 } else { 0.6 },
            day: -1,
            condenser_day: 0.0,
            evaporator_day: 0.0,
            left_off_since: None,
            alarms: 0,
            design,
            chance,
        }
    }

    pub(crate) fn now(&self) -> UnixMs {
        self.start + self.now_s * 1_000
    }

    /// One step; what happened goes to `events`.
    pub(crate) fn step(&mut self, events: &mut Vec<Event>) {
        self.now_s += STEP_S;
        let now = self.now();
        let day = now.div_euclid(DAY_MS);
        if day != self.day {
            self.new_day(day);
        }
        if !self.faults.is_empty() {
            self.effects = Effects::of(&self.faults, now);
            self.sensors.age(now);
        }
        while let Some(action) = self.next_action.take_if(|a| a.at <= self.now_s) {
            self.act(action.act, events);
            self.next_action = self.actions.next();
        }
        self.leave_off();
        self.outside = self.weather.at(self.now_s);
        self.control(events);
        self.physics(STEP_S as f64);
        let truth = self.temperatures();
        self.sensors.follow(&truth);
        let state = self.current_state();
        if state != self.state {
            self.state = state;
            events.push(Event { unit: self.index, time: now, kind: EventKind::StateChanged(state) });
        }
    }

    /// Wind, dirt and moisture differ from day to day and have some memory.
    fn new_day(&mut self, day: i64) {
        self.day = day;
        let (keep, fresh) = (0.45, (1.0f64 - 0.45 * 0.45).sqrt());
        self.condenser_day = keep * self.condenser_day + fresh * self.days.normal();
        self.evaporator_day = keep * self.evaporator_day + fresh * self.days.normal();
    }

    fn act(&mut self, act: Act, events: &mut Vec<Event>) {
        match act {
            Act::Power(on) => self.controller.power = on && !self.effects.left_off,
            Act::SetPoint(t) if t != self.controller.set_point => {
                self.controller.set_point = t;
                let kind = EventKind::SetPointChanged((t * 10.0).round() as i32);
                events.push(Event { unit: self.index, time: self.now(), kind });
            }
            Act::SetPoint(_) => {}
            Act::Door(open) => self.door_open = open,
            Act::Load { mass, heat, temperature, breath } => {
                self.cargo_box.load(mass, heat, temperature, breath);
            }
            Act::Unload(share) => self.cargo_box.unload(share),
            Act::Shore(on) => self.shore = on,
            Act::Moving(moving) => self.moving = moving,
            Act::SelfTest => self.controller.start_self_test(),
            Act::ManualDefrost => self.controller.start_defrost(DefrostOrigin::Manual, self.coil.metal),
        }
    }

    /// The slip of a person: a defrost started by hand, cut short by switching off, and forgotten.
    fn leave_off(&mut self) {
        match (self.effects.left_off, self.left_off_since) {
            (true, None) => {
                self.left_off_since = Some(self.now_s);
                self.controller.start_defrost(DefrostOrigin::Manual, self.coil.metal.min(0.0));
            }
            (true, Some(since)) if self.now_s - since >= 240 => self.controller.power = false,
            (false, Some(_)) => {
                self.left_off_since = None;
                self.controller.power = true;
            }
            _ => {}
        }
    }

    /// True temperatures at the lagged sensors, in catalogue order.
    fn temperatures(&self) -> [f64; LAGGED] {
        let b = &self.cargo_box;
        let air = self.return_air;
        let control = air + self.effects.control_in_supply * (self.supply - air);
        let sun = if self.moving { 0.0 } else { self.outside.sun };
        let probe = 0.35 * (self.condenser_inlet - self.outside.air) + sun * self.probe_sun_k;
        let ambient = self.outside.air + probe;
        let near = 0.5 * (b.air + b.surface);
        [
            control,
            air,
            self.supply,
            self.supply,
            ambient,
            self.coil.metal,
            near,
            b.surface,
            b.core,
            b.surface,
            near,
            b.core,
        ]
    }

    fn current_state(&self) -> State {
        let c = &self.controller;
        State {
            power: if c.power { Power::On } else { Power::Off },
            drive: if self.shore { Drive::Shore } else { Drive::Engine },
            running_mode: c.mode,
            stage: c.stage(),
            door: if self.door_open { Door::Open } else { Door::Closed },
            compressor: if c.compressor() { Compressor::Running } else { Compressor::Stopped },
            defrost_origin: c.origin,
            defrost_end: c.end,
            inputs: u8::from(self.shore),
            outputs: u8::from(c.fans()),
        }
    }
}
