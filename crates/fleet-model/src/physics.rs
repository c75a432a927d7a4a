//! One step of circuit, coil, box and engine.

use crate::cargo_box::Around;
use crate::circuit::Drive;
use crate::control::Phase;
use crate::engine::{Demand, Turning};
use crate::machine::Machine;

/// Displacement and air streams relative to high engine speed.
#[derive(Clone, Copy)]
struct Pace {
    displacement: f64,
    wind: f64,
    /// Air stream through the evaporator, W/K.
    air_flow: f64,
    /// Share of the evaporator's surface that frost leaves.
    surface: f64,
}

impl Machine {
    pub(crate) fn physics(&mut self, dt: f64) {
        let phase = self.controller.phase;
        let outside = self.outside.air;
        let parked_by_day = !self.moving && self.outside.sun > 0.15;
        let breathes_again = parked_by_day && self.controller.compressor();
        self.condenser_inlet = outside + if breathes_again { self.recirculated_k } else { 0.0 };
        let pace = self.pace();
        let (air, back) = (self.cargo_box.air, self.return_air);
        // Heat into the box's air, W, and the compressor's load as a share.
        let (unit_w, load) = match phase {
            Phase::Cool | Phase::SelfTest => self.cool(&pace, dt),
            Phase::Heat => {
                self.circuit.defrost(air + 8.0, outside, dt);
                self.coil.follow(air + 12.0, 90.0, &mut self.cargo_box.water, air, dt);
                self.supply = back + self.design.heat_w / pace.air_flow;
                (self.design.heat_w, 0.3)
            }
            Phase::Defrost => {
                let drive = if self.shore { 0.85 } else { 1.0 };
                let watts = self.design.defrost_w * self.effects.defrost_heat * drive;
                self.coil.melt(watts, self.effects.drain_blocked, self.design.coil_c, dt);
                self.circuit.defrost(self.coil.metal, outside, dt);
                let warmer = (self.coil.metal - air).max(0.0);
                self.supply = air + 0.3 * warmer;
                (12.0 * warmer, 0.4)
            }
            Phase::Off | Phase::Starting | Phase::Rest | Phase::Stopped | Phase::Broken => {
                self.circuit.stand(self.coil.metal, outside, dt);
                self.coil.follow(air, 900.0, &mut self.cargo_box.water, air, dt);
                let target = 0.7 * air + 0.3 * self.coil.metal;
                self.supply = target + (self.supply - target) * (-dt / 300.0).exp();
                (0.0, 0.0)
            }
        };
        self.work_share = load;
        if phase != Phase::Defrost {
            self.coil.thaw(dt);
        }
        let fans = self.controller.fans();
        let around = Around {
            outside: self.outside,
            unit_w,
            fans,
            door_open: self.door_open,
            leak_ua: self.effects.leak_ua,
            moving: self.moving,
        };
        self.cargo_box.step(&self.design, &around, dt);
        // Air is warmer where it goes back to the unit than in the middle of the box; without fans warm air stands
        // at the return grille.
        let ahead = if fans { -0.25 * unit_w / pace.air_flow } else { 0.4 };
        let target = self.cargo_box.air + ahead;
        self.return_air = target + (self.return_air - target) * (-dt / 60.0).exp();
        (self.discharge_abs, self.suction_abs) = self.circuit.pressures(&self.design);
        self.turn(load, dt);
    }

    fn pace(&self) -> Pace {
        let (displacement, wind) = match (self.shore, self.controller.high_speed) {
            (true, _) => (0.8, 0.88),
            (false, true) => (1.0, 1.0),
            (false, false) => (0.68, 0.74),
        };
        let (air_share, surface) = self.coil.shares(self.coil_size);
        let day = 1.0 + self.design.evaporator_day_sd * self.evaporator_day;
        Pace { displacement, wind, air_flow: self.design.air_flow * wind * air_share * day, surface }
    }

    fn cool(&mut self, pace: &Pace, dt: f64) -> (f64, f64) {
        let condenser_day = 1.0 + self.design.condenser_day_sd * self.condenser_day.clamp(-3.0, 3.0);
        let moving = if self.moving { 1.03 } else { 1.0 };
        let condenser_wind = (0.35 + 0.65 * pace.wind) * moving * condenser_day;
        let drive = Drive {
            return_air: self.return_air,
            condenser_air: self.condenser_inlet,
            speed: pace.displacement,
            throttle: self.controller.throttle,
            pumping: self.effects.pumping,
            starved: self.effects.starved,
            air_flow: pace.air_flow,
            evaporator_ua: self.design.evaporator_ua * pace.wind * pace.surface,
            condenser_ua: self.design.condenser_ua * condenser_wind * self.effects.condenser,
        };
        let taken = self.circuit.run(&self.design, &drive, dt);
        // The fans' own heat: some 350 W at high speed.
        let unit_w = 0.2 * pace.air_flow * pace.wind - taken;
        self.supply = self.return_air + unit_w / pace.air_flow;
        let target = self.circuit.low + 0.3 * (self.return_air - self.circuit.low);
        self.coil.follow(target, 60.0, &mut self.cargo_box.water, self.cargo_box.air, dt);
        (unit_w, (taken / self.design.capacity).clamp(0.0, 1.3))
    }

    fn turn(&mut self, load: f64, dt: f64) {
        let turning = match (self.controller.phase, self.shore) {
            (Phase::Starting, false) => Turning::Starting,
            (Phase::Starting, true) => Turning::Motor,
            _ if !self.controller.compressor() => Turning::Still,
            (_, true) => Turning::Motor,
            (_, false) if self.controller.high_speed => Turning::High,
            (_, false) => Turning::Low,
        };
        let demand = Demand {
            turning,
            power: self.controller.power,
            plugged: self.shore,
            at_depot: !self.moving && self.cargo_box.mass == 0.0,
            ambient: self.outside.air,
            load,
        };
        self.engine.step(&self.design, &demand, dt);
    }
}
