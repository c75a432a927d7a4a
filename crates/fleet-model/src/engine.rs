//! Engine, battery, fuel and the hour counters.

use crate::chance::Chance;
use crate::design::Design;

/// State of engine and electrics.
#[derive(Clone, Debug)]
#[expect(
    clippy::struct_field_names,
    reason = "`engine_h` beside `standby_h` and `on_h` is the counter's own name"
)]
pub(crate) struct Engine {
    pub(crate) rpm: f64,
    pub(crate) coolant: f64,
    pub(crate) fuel_l: f64,
    /// Battery charge, 0 to 1.
    pub(crate) charge: f64,
    /// Surface charge that fades at rest, V.
    surface: f64,
    pub(crate) volt: f64,
    pub(crate) ampere: f64,
    pub(crate) engine_h: f64,
    pub(crate) standby_h: f64,
    pub(crate) on_h: f64,
}

/// What turns the compressor during a step, and how.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Turning {
    Still,
    Starting,
    Low,
    High,
    Motor,
}

/// What engine and electrics are asked for in a step.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Demand {
    pub(crate) turning: Turning,
    pub(crate) power: bool,
    pub(crate) plugged: bool,
    pub(crate) at_depot: bool,
    pub(crate) ambient: f64,
    /// Compressor load, 0 to 1.
    pub(crate) load: f64,
}

impl Engine {
    pub(crate) fn new(design: &Design, ambient: f64, chance: &mut Chance) -> Self {
        Self {
            rpm: 0.0,
            coolant: ambient,
            fuel_l: design.tank_l * chance.within(0.5, 0.95),
            charge: chance.within(0.85, 1.0),
            surface: 0.0,
            volt: 12.6,
            ampere: 0.0,
            engine_h: chance.within(800.0, 9_000.0),
            standby_h: chance.within(50.0, 900.0),
            on_h: chance.within(9_500.0, 12_000.0),
        }
    }

    /// One step.
    pub(crate) fn step(&mut self, design: &Design, demand: &Demand, dt: f64) {
        let hours = dt / 3_600.0;
        let engine = matches!(demand.turning, Turning::Starting | Turning::Low | Turning::High);
        self.rpm = match demand.turning {
            Turning::Starting => 0.7 * design.low_rpm,
            Turning::Low => design.low_rpm,
            Turning::High => design.high_rpm,
            Turning::Still | Turning::Motor => 0.0,
        };
        let high = demand.turning == Turning::High;
        let load = if high { 0.4 + 0.6 * demand.load } else { 0.3 + 0.4 * demand.load };
        let warm = design.thermostat_coolant + 4.0 * load + 0.12 * (demand.ambient - 20.0);
        let (target, tau) = if engine { (warm, 420.0) } else { (demand.ambient, 5_400.0) };
        self.coolant = target + (self.coolant - target) * (-dt / tau).exp();
        if engine {
            self.fuel_l -= (0.7 + 2.6 * load) * hours;
            self.engine_h += hours;
        }
        if self.fuel_l < 0.22 * design.tank_l && demand.at_depot {
            self.fuel_l = design.tank_l * 0.97;
        }
        self.fuel_l = self.fuel_l.max(0.15 * design.tank_l);
        self.standby_h += if demand.turning == Turning::Motor { hours } else { 0.0 };
        self.on_h += if demand.power { hours } else { 0.0 };
        self.electrics(design, demand, dt);
    }

    fn electrics(&mut self, design: &Design, demand: &Demand, dt: f64) {
        let hours = dt / 3_600.0;
        let charging =
            matches!(demand.turning, Turning::Low | Turning::High) || (demand.plugged && demand.power);
        if charging {
            let set = design.charge_volt - 0.012 * (demand.ambient - 25.0);
            self.ampere = (60.0 * (1.0 - self.charge)).min(45.0) + 1.5;
            self.volt = set - 0.004 * self.ampere;
            self.surface = 0.6;
            self.charge = (self.charge + self.ampere * hours / 95.0).min(1.0);
        } else {
            self.ampere = match (demand.turning == Turning::Starting, demand.power) {
                (true, _) => -85.0,
                (false, true) => -1.6,
                (false, false) => -0.06,
            };
            self.surface *= (-hours / 0.8).exp();
            self.charge = (self.charge + self.ampere * hours / 95.0).max(0.3);
            // Resting voltage against charge: public battery tables, 11.9 V empty to 12.65 V full.
            self.volt = 11.9 + 0.76 * self.charge + self.surface + 0.006 * self.ampere;
        }
    }

    /// Oil pressure, kPa gauge: with the speed, less with hot thin oil.
    pub(crate) fn oil_kpa(&self, design: &Design) -> f64 {
        let thin = (1.0 - 0.006 * (self.coolant - 80.0)).clamp(0.8, 1.6);
        design.oil_per_krpm * self.rpm / 1_000.0 * thin
    }
}
