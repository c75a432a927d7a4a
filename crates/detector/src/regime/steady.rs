use rimeline_channels::MINUTE_MS;
use serde::{Deserialize, Serialize};

use crate::config;

/// A cadence slower than this is judged by two successive readings instead of moving moments.
const SLOW_MS: i64 = 5 * MINUTE_MS;

/// From this cadence on two readings have to be in the same state to be compared.
const SPARSE_MS: i64 = 10 * MINUTE_MS;

/// Moving slope of the return air and spread of the discharge pressure.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Settling {
    last_return: Option<f32>,
    slope: f32,
    pressure: Option<(f32, f32)>,
    samples: u8,
}

/// How calm the unit is.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Calm {
    /// Return air and discharge pressure move slowly enough for the circuit to follow without lag.
    pub(crate) settled: bool,
    /// How fast the return air moves, K/min, where two readings without a start, stop or gap between them tell.
    pub(crate) slope: Option<f64>,
    /// The discharge pressure stands nearly still, or is not fitted.
    pub(crate) pressure: bool,
    /// Readings are so far apart that much may happen between two of them.
    pub(crate) sparse: bool,
}

impl Calm {
    /// True where the return air moves slower than this, K/min. Readings far apart have to be in the same state, too.
    pub(crate) fn slower_than(&self, k_per_min: f64) -> bool {
        self.slope.is_some_and(|slope| slope < k_per_min) && (!self.sparse || self.settled)
    }
}

impl Settling {
    /// A gap, a start or a stop: nothing before it counts.
    pub(super) fn restart(&mut self) {
        *self = Self::default();
    }

    /// `changed`: the stage is another one than at the reading before.
    pub(super) fn step(
        &mut self,
        ret: Option<f64>,
        pd: Option<f64>,
        dt_ms: i64,
        changed: bool,
        c: &config::Steady,
    ) -> Calm {
        if changed {
            (self.samples, self.pressure) = (0, None);
        }
        let Some(ret) = ret.map(|r| r as f32) else {
            self.last_return = None;
            return Calm::default();
        };
        let Some(last) = self.last_return.replace(ret) else {
            return Calm::default();
        };
        let minutes = (dt_ms as f32 / MINUTE_MS as f32).max(0.1);
        let now = (ret - last) / minutes;
        let forget = c.forget as f32;
        let slow = dt_ms >= SLOW_MS;
        self.slope = if slow || self.samples == 0 { now } else { forget * self.slope + (1.0 - forget) * now };
        self.samples = self.samples.saturating_add(1);
        let slope = f64::from(self.slope.abs());
        let same = self.samples >= 2;
        if slow {
            let moved = f64::from((ret - last).abs());
            let follows = c.step_k.max(c.settled_k_per_min * f64::from(minutes.min(5.0)));
            // So far apart, pressures differ by load and ambient, not by unrest.
            return Calm {
                settled: same && moved < follows,
                slope: Some(slope),
                pressure: true,
                sparse: dt_ms >= SPARSE_MS,
            };
        }
        let pressure = pd.is_none_or(|pd| self.pressure_is_calm(pd as f32, c));
        Calm {
            settled: same && slope < c.settled_k_per_min && pressure,
            slope: Some(slope),
            pressure,
            sparse: false,
        }
    }

    fn pressure_is_calm(&mut self, pd: f32, c: &config::Steady) -> bool {
        let forget = c.forget as f32;
        let (mean, var) = self.pressure.unwrap_or((pd, 0.0));
        let step = pd - mean;
        let mean = mean + (1.0 - forget) * step;
        let var = forget * (var + (1.0 - forget) * step * step);
        self.pressure = Some((mean, var));
        // A range of 3 % is about three standard deviations of what scatters evenly in it.
        f64::from(var.sqrt()) * 3.0 < c.pressure_spread * f64::from(mean.abs().max(100.0))
    }
}
