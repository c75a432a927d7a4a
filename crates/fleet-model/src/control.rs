//! The unit's own controller: start, cool, modulate, heat, rest, defrost, protect.

use rimeline_channels::{DefrostEnd, DefrostOrigin, RunningMode, Stage};

use crate::design::Design;

/// What the controller is doing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Phase {
    Off,
    Starting,
    Cool,
    Heat,
    Rest,
    Defrost,
    SelfTest,
    Stopped,
    Broken,
}

/// Why the protection stopped the unit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Trip {
    HighPressure,
    LowPressure,
}

/// What the controller sees.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Seen {
    /// Control temperature, Cel.
    pub(crate) control: f64,
    pub(crate) coil: f64,
    pub(crate) frost_kg: f64,
    pub(crate) discharge_abs: f64,
    pub(crate) suction_abs: f64,
    pub(crate) door_open: bool,
    pub(crate) shore: bool,
    /// How much tighter than designed the band is set, 0 to 1.
    pub(crate) tightened: f64,
    pub(crate) broken: bool,
}

/// State of the controller.
#[derive(Clone, Debug)]
pub(crate) struct Controller {
    pub(crate) power: bool,
    pub(crate) mode: RunningMode,
    pub(crate) set_point: f64,
    pub(crate) phase: Phase,
    /// Seconds in this phase.
    pub(crate) since: f64,
    pub(crate) high_speed: bool,
    /// Throttle opening, 0 to 1.
    pub(crate) throttle: f64,
    pub(crate) starts: u32,
    pub(crate) origin: DefrostOrigin,
    pub(crate) end: DefrostEnd,
    pub(crate) trip: Option<Trip>,
    /// Seconds of running since the start, and on a cold coil since the last defrost.
    run_s: f64,
    pub(crate) cold_run_s: f64,
    integral: f64,
    low_pressure_s: f64,
    heat_next: bool,
}

/// Suction pressure at which the low-pressure switch opens, kPa absolute. Common practice, no source.
const LOW_CUT_OUT_ABS: f64 = 112.0;
/// Coil temperature that ends a defrost, Cel. Common practice, no source.
const DEFROST_END: f64 = 11.0;

impl Controller {
    pub(crate) fn new(mode: RunningMode) -> Self {
        Self {
            power: false,
            mode,
            set_point: 0.0,
            phase: Phase::Off,
            since: 0.0,
            high_speed: false,
            throttle: 1.0,
            starts: 0,
            origin: DefrostOrigin::Unknown,
            end: DefrostEnd::Unknown,
            trip: None,
            run_s: 0.0,
            cold_run_s: 0.0,
            integral: 0.0,
            low_pressure_s: 0.0,
            heat_next: false,
        }
    }

    fn enter(&mut self, phase: Phase) {
        self.phase = phase;
        self.since = 0.0;
        if !matches!(phase, Phase::Cool | Phase::SelfTest) {
            self.high_speed = false;
            self.throttle = 1.0;
            self.integral = 0.0;
        }
    }

    pub(crate) fn start_defrost(&mut self, origin: DefrostOrigin, coil: f64) {
        if matches!(self.phase, Phase::Cool | Phase::Rest) && coil < 2.0 {
            if self.phase == Phase::Rest {
                self.starts += 1;
            }
            self.origin = origin;
            self.enter(Phase::Defrost);
        }
    }

    pub(crate) fn start_self_test(&mut self) {
        if self.power && self.phase != Phase::Broken {
            self.starts += u32::from(!self.compressor());
            self.enter(Phase::SelfTest);
        }
    }

    pub(crate) fn compressor(&self) -> bool {
        matches!(self.phase, Phase::Cool | Phase::Heat | Phase::Defrost | Phase::SelfTest)
    }

    pub(crate) fn fans(&self) -> bool {
        matches!(self.phase, Phase::Cool | Phase::Heat | Phase::SelfTest)
    }

    pub(crate) fn stage(&self) -> Stage {
        match self.phase {
            Phase::Off => Stage::Unknown,
            Phase::Starting => Stage::Starting,
            Phase::Cool if self.high_speed => Stage::CoolingHigh,
            Phase::Cool => Stage::CoolingLow,
            Phase::Heat => Stage::Heating,
            Phase::Rest => Stage::Satisfied,
            Phase::Defrost => Stage::Defrosting,
            Phase::SelfTest => Stage::SelfTest,
            Phase::Stopped | Phase::Broken => Stage::StoppedOnFault,
        }
    }

    /// One step.
    pub(crate) fn step(&mut self, design: &Design, seen: &Seen, dt: f64) {
        self.since += dt;
        if !self.power {
            if self.phase == Phase::Defrost {
                self.end = DefrostEnd::SwitchedOff;
            }
            if self.phase != Phase::Off {
                self.enter(Phase::Off);
            }
            return;
        }
        if seen.broken {
            if self.phase != Phase::Broken {
                self.end = if self.phase == Phase::Defrost { DefrostEnd::Fault } else { self.end };
                self.enter(Phase::Broken);
            }
            return;
        }
        let error = seen.control - self.set_point;
        let start_stop = self.mode == RunningMode::StartStop;
        let lerp = |a: f64, b: f64| a + (b - a) * seen.tightened;
        let (above, below) = (lerp(design.band_above, 0.3), lerp(design.band_below, 0.05));
        match self.phase {
            Phase::Off | Phase::Broken => self.enter(Phase::Starting),
            Phase::Starting => {
                if self.since >= if seen.shore { 30.0 } else { 60.0 } {
                    self.starts += 1;
                    self.run_s = 0.0;
                    self.low_pressure_s = 0.0;
                    self.enter(if self.heat_next { Phase::Heat } else { Phase::Cool });
                    self.heat_next = false;
                }
            }
            Phase::Cool => {
                self.run_s += dt;
                self.cold_run_s += if seen.coil < -1.0 { dt } else { 0.0 };
                if self.protect(design, seen, dt) {
                } else if seen.door_open && design.door_stops {
                    self.enter(Phase::Rest);
                } else if self.defrost_due(design, seen) {
                    // The origin is set by `defrost_due`.
                    self.enter(Phase::Defrost);
                } else if start_stop {
                    self.high_speed = self.run_s >= design.low_speed_first_s && error > -0.1;
                    if error < -below && self.since >= lerp(design.least_run_s, 60.0) {
                        self.enter(Phase::Rest);
                    }
                } else {
                    self.modulate(design, error, dt);
                }
            }
            Phase::Heat => {
                self.run_s += dt;
                if seen.door_open && design.door_stops {
                    self.enter(Phase::Rest);
                } else if error > if start_stop { -0.2 } else { 0.1 } {
                    self.enter(if start_stop { Phase::Rest } else { Phase::Cool });
                }
            }
            Phase::Rest => {
                let rested = self.since >= lerp(design.least_rest_s, 60.0);
                let shut = !(seen.door_open && design.door_stops);
                if shut && rested && start_stop && error.abs() > above {
                    self.heat_next = error < 0.0;
                    self.enter(Phase::Starting);
                } else if shut && !start_stop && self.since >= 60.0 {
                    self.enter(Phase::Starting);
                }
            }
            Phase::Defrost => {
                if seen.coil >= DEFROST_END {
                    self.end_defrost(DefrostEnd::CoilTemperature);
                } else if self.since >= design.defrost_limit_s {
                    self.end_defrost(DefrostEnd::TimeLimit);
                }
            }
            Phase::SelfTest => {
                self.high_speed = self.since > 240.0;
                if self.since >= 600.0 {
                    self.run_s = 600.0;
                    self.enter(Phase::Cool);
                }
            }
            Phase::Stopped => {
                let wait = if self.trip == Some(Trip::HighPressure) { 600.0 } else { 180.0 };
                if self.since >= wait {
                    self.enter(Phase::Starting);
                }
            }
        }
    }

    fn end_defrost(&mut self, end: DefrostEnd) {
        self.end = end;
        self.cold_run_s = 0.0;
        self.enter(Phase::Cool);
    }

    /// Stops where a pressure switch opens.
    fn protect(&mut self, design: &Design, seen: &Seen, dt: f64) -> bool {
        self.low_pressure_s = if seen.suction_abs < LOW_CUT_OUT_ABS { self.low_pressure_s + dt } else { 0.0 };
        let trip = if seen.discharge_abs > design.cut_out_abs_kpa {
            Trip::HighPressure
        } else if self.low_pressure_s >= 60.0 {
            Trip::LowPressure
        } else {
            return false;
        };
        self.trip = Some(trip);
        self.enter(Phase::Stopped);
        true
    }

    fn defrost_due(&mut self, design: &Design, seen: &Seen) -> bool {
        if seen.coil > -1.0 || self.since < 600.0 {
            return false;
        }
        self.origin = if self.cold_run_s >= design.defrost_every_s {
            DefrostOrigin::Timer
        } else if seen.frost_kg >= design.frost_demand_kg && self.cold_run_s >= 3_600.0 {
            DefrostOrigin::Demand
        } else {
            return false;
        };
        true
    }

    /// Continuous running: full cooling while far off, then less and less, then heat.
    fn modulate(&mut self, design: &Design, error: f64, dt: f64) {
        let warm = self.run_s >= design.low_speed_first_s;
        self.high_speed = warm && (error > 1.8 || (self.high_speed && error > 0.7));
        if error > 0.7 {
            self.integral = 0.35;
            self.throttle = 1.0;
            return;
        }
        self.integral = (self.integral + error * dt / 900.0).clamp(0.0, 0.9);
        self.throttle = (self.integral + 0.5 * error).clamp(0.05, 1.0);
        if error < -0.7 && self.throttle <= 0.05 {
            self.enter(Phase::Heat);
        }
    }
}
