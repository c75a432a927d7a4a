//! The evaporator coil and the frost on it.

/// Heat of melting, J/kg.
const MELT: f64 = 334_000.0;

/// A coil that holds this much is one block of ice, kg.
const MOST_FROST: f64 = 25.0;

/// State of the coil.
#[derive(Clone, Debug)]
pub(crate) struct Coil {
    /// Metal temperature, Cel.
    pub(crate) metal: f64,
    /// Frost and ice, kg.
    pub(crate) frost: f64,
}

impl Coil {
    pub(crate) fn new(t: f64) -> Self {
        Self { metal: t, frost: 0.0 }
    }

    /// Air stream and surface that frost leaves, as shares: a coil of size 1 loses a tenth of its air at 3 kg.
    pub(crate) fn shares(&self, size: f64) -> (f64, f64) {
        let kg = self.frost / size;
        let air = 1.0 / (1.0 + 0.012 * kg * kg);
        (air, air / (1.0 + 0.02 * kg))
    }

    /// Follows what surrounds it, and takes water out of the air where it is cold enough.
    pub(crate) fn follow(&mut self, target: f64, tau_s: f64, water: &mut f64, air: f64, dt: f64) {
        self.metal = target + (self.metal - target) * (-dt / tau_s).exp();
        if self.metal < air - 0.5 {
            let caught = *water * (1.0 - (-dt / 900.0).exp());
            *water -= caught;
            if self.metal < -0.3 {
                self.frost = (self.frost + caught).min(MOST_FROST);
            }
        }
    }

    /// Melts slowly where the metal is warmer than ice.
    pub(crate) fn thaw(&mut self, dt: f64) {
        if self.frost > 0.0 && self.metal > 0.2 {
            self.frost = (self.frost - dt * 45.0 * self.metal / MELT).max(0.0);
        }
    }

    /// Heats the coil with `watts`; a share `kept` of what melts freezes again in a blocked drain.
    pub(crate) fn melt(&mut self, watts: f64, kept: f64, heat_capacity: f64, dt: f64) {
        let mut joules = watts * dt;
        if self.metal < 0.0 {
            let need = -self.metal * heat_capacity;
            if joules < need {
                self.metal += joules / heat_capacity;
                return;
            }
            (joules, self.metal) = (joules - need, 0.0);
        }
        // The warmer the metal between patches of ice, the less of the heat goes into the ice.
        let to_ice = if self.frost > 0.0 { joules * (0.85 - 0.05 * self.metal).max(0.25) } else { 0.0 };
        let melted = (to_ice / MELT).min(self.frost);
        self.frost -= melted * (1.0 - kept);
        self.metal += (joules - melted * MELT) / heat_capacity;
    }
}
