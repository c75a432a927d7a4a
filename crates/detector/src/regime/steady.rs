use rimeline_channels::MINUTE_MS;
use serde::{Deserialize, Serialize};

use crate::config;

/// A cadence slower than this is judged by two successive readings instead of moving moments.
const SLOW_MS: i64 = 5 * MINUTE_MS;

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
    /// Return air and discharge pressure stand nearly still.
    pub(crate) steady: bool,
    /// They move slowly enough for the circuit to follow without lag.
    pub(crate) settled: bool,
    /// How fast the return air moves, K/min, where two readings in the same state tell.
    pub(crate) slope: Option<f64>,
    /// The discharge pressure stands nearly still, or is not fitted.
    pub(crate) pressure: bool,
}

impl Calm {
    /// True where the return air moves slower than this, K/min.
    pub(crate) fn slower_than(&self, k_per_min: f64) -> bool {
        self.slope.is_some_and(|slope| slope < k_per_min)
    }
}

impl Settling {
    pub(super) fn restart(&mut self) {
        *self = Self::default();
    }

    pub(super) fn step(&mut self, ret: Option<f64>, pd: Option<f64>, dt_ms: i64, c: &config::Steady) -> Calm {
        let forget = c.forget as f32;
        let Some(ret) = ret.map(|r| r as f32) else {
            self.last_return = None;
            return Calm::default();
        };
        let Some(last) = self.last_return.replace(ret) else {
            self.samples = 0;
            return Calm::default();
        };
        let minutes = (dt_ms as f32 / MINUTE_MS as f32).max(0.1);
        self.samples = self.samples.saturating_add(1);
        let calm_pressure = pd.is_none_or(|pd| self.pressure_is_calm(pd as f32, c));
        if dt_ms >= SLOW_MS {
            let moved = f64::from((ret - last).abs());
            let follows = c.step_k.max(c.settled_k_per_min * f64::from(minutes.min(5.0)));
            return Calm {
                steady: moved < c.step_k && calm_pressure,
                settled: moved < follows,
                slope: Some(moved / f64::from(minutes)),
                // So far apart, pressures differ by load and ambient, not by unrest.
                pressure: true,
            };
        }
        let now = (ret - last) / minutes;
        self.slope = if self.samples == 1 { now } else { forget * self.slope + (1.0 - forget) * now };
        let slope = f64::from(self.slope.abs());
        let enough = self.samples >= 2;
        Calm {
            steady: enough && slope < c.slope_k_per_min && calm_pressure,
            settled: enough && slope < c.settled_k_per_min && calm_pressure,
            slope: enough.then_some(slope),
            pressure: calm_pressure,
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
