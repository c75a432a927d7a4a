//! One unit in time: people, weather, controller, circuit, box, engine and sensors, half a minute at a step.

use std::sync::Arc;

use rimeline_channels::{
    Alarm, Channel, Compressor, DAY_MS, DefrostOrigin, Door, Drive, Event, EventKind, Power, State, UnixMs,
};

use crate::cargo_box::{Around, CargoBox};
use crate::chance::Chance;
use crate::circuit::{self, Circuit};
use crate::coil::Coil;
use crate::control::{Controller, Phase, Seen, Trip};
use crate::design::Design;
use crate::effects::{Effects, Planned};
use crate::engine::{Demand, Engine};
use crate::plan::{Act, Action};
use crate::sensors::{LAGGED, Said, Sensors};
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
    coil_size: f64,
    nose_to_tail: bool,
    sunny_probe: bool,
    day: i64,
    condenser_day: f64,
    evaporator_day: f64,
    left_off_since: Option<i64>,
    alarms: u8,
}

/// Alarms of the controller: bit, code, text.
const ALARMS: [(u8, &str, &str); 5] = [
    (1, "HP-STOP", "Stopped by high pressure"),
    (2, "LP-STOP", "Stopped by low pressure"),
    (4, "DEF-TIME", "Defrost ended by its time limit"),
    (8, "CTL-SENSOR", "Control sensor failed, running on another"),
    (16, "NO-START", "Unit does not start"),
];

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
            nose_to_tail: unit.look_alikes.contains(&LookAlike::NoseToTail),
            sunny_probe: unit.look_alikes.contains(&LookAlike::SunnyAmbientProbe),
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
            events.push(Event {
                unit: self.index,
                time: now,
                kind: EventKind::StateChanged(state),
            });
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
                events.push(Event {
                    unit: self.index,
                    time: self.now(),
                    kind,
                });
            }
            Act::SetPoint(_) => {}
            Act::Door(open) => self.door_open = open,
            Act::Load {
                mass,
                heat,
                temperature,
                breath,
            } => {
                self.cargo_box.load(mass, heat, temperature, breath);
            }
            Act::Unload(share) => self.cargo_box.unload(share),
            Act::Shore(on) => self.shore = on,
            Act::Moving(moving) => self.moving = moving,
            Act::SelfTest => self.controller.start_self_test(),
            Act::ManualDefrost => self
                .controller
                .start_defrost(DefrostOrigin::Manual, self.coil.metal),
        }
    }

    /// The slip of a person: a defrost started by hand, cut short by switching off, and forgotten.
    fn leave_off(&mut self) {
        match (self.effects.left_off, self.left_off_since) {
            (true, None) => {
                self.left_off_since = Some(self.now_s);
                self.controller
                    .start_defrost(DefrostOrigin::Manual, self.coil.metal.min(0.0));
            }
            (true, Some(since)) if self.now_s - since >= 240 => self.controller.power = false,
            (false, Some(_)) => {
                self.left_off_since = None;
                self.controller.power = true;
            }
            _ => {}
        }
    }

    fn control(&mut self, events: &mut Vec<Event>) {
        let own = self.sensors.control(Channel::ReturnAirControl);
        let control = match own {
            Said::Number(t) => t,
            Said::Open | Said::Short => match self.sensors.control(Channel::ReturnAirCheck) {
                Said::Number(t) if self.sensors.has(Channel::ReturnAirCheck) => t,
                _ => match self.sensors.control(Channel::SupplyAirControl) {
                    Said::Number(t) => t + 3.0,
                    Said::Open | Said::Short => self.controller.set_point,
                },
            },
        };
        let before = (self.controller.phase, self.controller.end);
        let seen = Seen {
            control,
            coil: self.coil.metal,
            frost_kg: self.coil.frost,
            discharge_abs: self.discharge_abs,
            suction_abs: self.suction_abs,
            door_open: self.door_open,
            shore: self.shore,
            tightened: self.effects.tightened,
            broken: self.effects.broken,
        };
        self.controller.step(&self.design, &seen, STEP_S as f64);
        self.alarm(8, !matches!(own, Said::Number(_)), events);
        let phase = self.controller.phase;
        if phase != before.0 {
            self.alarm(16, phase == Phase::Broken, events);
            match self.controller.trip {
                Some(Trip::HighPressure) if phase == Phase::Stopped => self.alarm(1, true, events),
                Some(Trip::LowPressure) if phase == Phase::Stopped => self.alarm(2, true, events),
                _ => {}
            }
            if before.0 == Phase::Defrost {
                let limit = self.controller.end == rimeline_channels::DefrostEnd::TimeLimit;
                self.alarm(4, limit, events);
            }
        }
        if phase == Phase::Cool && self.controller.since >= 900.0 && self.alarms & 3 != 0 {
            self.alarm(1, false, events);
            self.alarm(2, false, events);
        }
    }

    fn alarm(&mut self, bit: u8, raised: bool, events: &mut Vec<Event>) {
        if raised == (self.alarms & bit != 0) {
            return;
        }
        self.alarms ^= bit;
        let Some(&(_, code, text)) = ALARMS.iter().find(|a| a.0 == bit) else {
            return;
        };
        let alarm = Alarm {
            code: code.to_owned(),
            text: text.to_owned(),
            by_person: false,
        };
        let kind = if raised {
            EventKind::AlarmRaised(alarm)
        } else {
            EventKind::AlarmCleared(alarm)
        };
        events.push(Event {
            unit: self.index,
            time: self.now(),
            kind,
        });
    }

    fn physics(&mut self, dt: f64) {
        let phase = self.controller.phase;
        let out = self.outside;
        let parked_by_day = !self.moving && out.sun > 0.15;
        let recirculated = self.nose_to_tail && parked_by_day && self.controller.compressor();
        self.condenser_inlet = out.air + if recirculated { 4.5 } else { 0.0 };
        let (speed, wind) = match (self.shore, self.controller.high_speed) {
            (true, _) => (0.8, 0.88),
            (false, true) => (1.0, 1.0),
            (false, false) => (0.68, 0.74),
        };
        let (air_share, surface_share) = self.coil.shares(self.coil_size);
        let evaporator_day = 1.0 + self.design.evaporator_day_sd * self.evaporator_day;
        let air_flow = self.design.air_flow * wind * air_share * evaporator_day;
        // The box's air is warmer where it goes back to the unit than in its middle.
        let air = self.cargo_box.air;
        let back = self.return_air;
        let mut unit_w = 0.0;
        self.work_share = 0.0;
        match phase {
            Phase::Cool | Phase::SelfTest => {
                let condenser_day = 1.0 + self.design.condenser_day_sd * self.condenser_day.clamp(-3.0, 3.0);
                let moving = if self.moving { 1.03 } else { 1.0 };
                let drive = circuit::Drive {
                    return_air: back,
                    condenser_air: self.condenser_inlet,
                    speed,
                    throttle: self.controller.throttle,
                    pumping: self.effects.pumping,
                    starved: self.effects.starved,
                    air_flow,
                    evaporator_ua: self.design.evaporator_ua * wind * surface_share,
                    condenser_ua: self.design.condenser_ua
                        * (0.35 + 0.65 * wind)
                        * moving
                        * condenser_day
                        * self.effects.condenser,
                };
                let taken = self.circuit.run(&self.design, &drive, dt);
                // The fans' own heat: some 350 W at high speed.
                unit_w = -taken + 0.2 * air_flow * wind;
                self.supply = back + unit_w / air_flow;
                self.work_share = (taken / self.design.capacity).clamp(0.0, 1.3);
                let target = self.circuit.low + 0.3 * (back - self.circuit.low);
                self.coil.follow(target, 60.0, &mut self.cargo_box.water, air, dt);
            }
            Phase::Heat => {
                unit_w = self.design.heat_w;
                self.supply = back + unit_w / air_flow;
                self.circuit.defrost(air + 8.0, out.air, dt);
                self.coil
                    .follow(air + 12.0, 90.0, &mut self.cargo_box.water, air, dt);
                self.work_share = 0.3;
            }
            Phase::Defrost => {
                let watts =
                    self.design.defrost_w * self.effects.defrost_heat * if self.shore { 0.85 } else { 1.0 };
                self.coil
                    .melt(watts, self.effects.drain_blocked, self.design.coil_c, dt);
                self.circuit.defrost(self.coil.metal, out.air, dt);
                unit_w = 12.0 * (self.coil.metal - air).max(0.0);
                self.supply = air + 0.3 * (self.coil.metal - air).max(0.0);
                self.work_share = 0.4;
            }
            Phase::Off | Phase::Starting | Phase::Rest | Phase::Stopped | Phase::Broken => {
                self.circuit.stand(self.coil.metal, out.air, dt);
                self.coil.follow(air, 900.0, &mut self.cargo_box.water, air, dt);
                let target = 0.7 * air + 0.3 * self.coil.metal;
                self.supply = target + (self.supply - target) * (-dt / 300.0).exp();
            }
        }
        if self.coil.metal > 0.2 && phase != Phase::Defrost && self.coil.frost > 0.0 {
            self.coil.frost = (self.coil.frost - dt * 45.0 * self.coil.metal / 334_000.0).max(0.0);
        }
        let around = Around {
            outside: out,
            unit_w,
            fans: self.controller.fans(),
            door_open: self.door_open,
            leak_ua: self.effects.leak_ua,
            moving: self.moving,
        };
        self.cargo_box.step(&self.design, &around, dt);
        // Without fans warm air stands at the return grille.
        let ahead = if self.controller.fans() {
            -0.25 * unit_w / air_flow
        } else {
            0.4
        };
        let target = self.cargo_box.air + ahead;
        self.return_air = target + (self.return_air - target) * (-dt / 60.0).exp();
        (self.discharge_abs, self.suction_abs) = self.circuit.pressures(&self.design);
        let demand = Demand {
            power: self.controller.power,
            runs: self.controller.compressor() || phase == Phase::Starting,
            starting: phase == Phase::Starting,
            shore: self.shore,
            high_speed: self.controller.high_speed,
            ambient: out.air,
            load: self.work_share,
            at_depot: !self.moving && self.cargo_box.mass == 0.0,
        };
        self.engine.step(&self.design, &demand, dt);
    }

    /// True temperatures at the lagged sensors, in catalogue order.
    fn temperatures(&self) -> [f64; LAGGED] {
        let b = &self.cargo_box;
        let air = self.return_air;
        let control = air + self.effects.control_in_supply * (self.supply - air);
        let sun = if self.moving { 0.0 } else { self.outside.sun };
        let probe =
            0.35 * (self.condenser_inlet - self.outside.air) + sun * if self.sunny_probe { 6.0 } else { 0.6 };
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
            compressor: if c.compressor() {
                Compressor::Running
            } else {
                Compressor::Stopped
            },
            defrost_origin: c.origin,
            defrost_end: c.end,
            inputs: u8::from(self.shore),
            outputs: u8::from(c.fans()),
        }
    }
}
