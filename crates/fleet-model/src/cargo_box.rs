//! The insulated box: air, inner skin, and a cargo with a surface and a core.

use crate::design::Design;
use crate::weather::{Outside, saturated_water};

/// Temperatures in Cel, and the water in the box's air beyond what a frozen coil leaves in it, kg.
#[derive(Clone, Debug)]
pub(crate) struct CargoBox {
    pub(crate) air: f64,
    pub(crate) skin: f64,
    pub(crate) surface: f64,
    pub(crate) core: f64,
    pub(crate) mass: f64,
    pub(crate) heat: f64,
    pub(crate) breath: f64,
    pub(crate) water: f64,
}

/// Share of a load's mass that follows the air within hours.
const SURFACE: f64 = 0.15;

/// What acts on the box during a step.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Around {
    pub(crate) outside: Outside,
    /// Heat the unit puts into the air, W; negative while cooling.
    pub(crate) unit_w: f64,
    pub(crate) fans: bool,
    pub(crate) door_open: bool,
    /// Leak of a bad seal, W/K.
    pub(crate) leak_ua: f64,
    pub(crate) moving: bool,
}

impl CargoBox {
    pub(crate) fn new(outside: f64) -> Self {
        let t = outside;
        Self { air: t, skin: t, surface: t, core: t, mass: 0.0, heat: 2_000.0, breath: 0.0, water: 0.2 }
    }

    pub(crate) fn load(&mut self, mass: f64, heat: f64, temperature: f64, breath: f64) {
        (self.mass, self.heat, self.breath) = (mass, heat, breath);
        (self.surface, self.core) = (temperature + 0.5, temperature);
    }

    pub(crate) fn unload(&mut self, share: f64) {
        self.mass *= (1.0 - share).max(0.0);
        if self.mass < 100.0 {
            self.mass = 0.0;
        }
    }

    /// One step, implicit node by node so that it is stable whatever the step.
    pub(crate) fn step(&mut self, design: &Design, around: &Around, dt: f64) {
        let out = around.outside;
        let tonnes = self.mass / 1_000.0;
        let to_skin = if around.fans { design.skin_on } else { design.skin_off };
        let to_cargo = tonnes * if around.fans { 110.0 } else { 30.0 };
        let wind = if around.moving { 1.5 } else { 1.0 };
        let door = if around.door_open { design.door_ua } else { 2.5 * wind + around.leak_ua * wind };
        let c = design.air_c / dt;
        self.air =
            (c * self.air + to_skin * self.skin + to_cargo * self.surface + door * out.air + around.unit_w)
                / (c + to_skin + to_cargo + door);
        let roof = design.roof_w * out.sun;
        let c = design.skin_c / dt;
        self.skin = (c * self.skin + to_skin * self.air + design.wall_ua * out.air + roof)
            / (c + to_skin + design.wall_ua);
        if self.mass > 0.0 {
            let inner = tonnes * 45.0;
            let c = self.mass * SURFACE * self.heat / dt;
            self.surface =
                (c * self.surface + to_cargo * self.air + inner * self.core) / (c + to_cargo + inner);
            let c = self.mass * (1.0 - SURFACE) * self.heat / dt;
            self.core = (c * self.core + inner * self.surface + self.breath * self.mass) / (c + inner);
        } else {
            // Probes of an empty box hang in its air.
            (self.surface, self.core) = (self.air, self.air);
        }
        // One kelvin of exchange in W is about a thousandth of a kg/s of air.
        let excess = (out.water - saturated_water(self.air.min(out.air)) * 0.8).max(0.0);
        self.water += dt * excess * (0.25 * door / 1_006.0);
        let wet = (self.breath * self.mass * 2.0e-7) + if self.air > -5.0 { 8.0e-9 * self.mass } else { 0.0 };
        self.water = (self.water + dt * wet).min(6.0);
    }
}
