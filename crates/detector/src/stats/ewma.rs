use serde::{Deserialize, Serialize};

/// Exponentially weighted moving average: `z = lambda x + (1 - lambda) z`.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Ewma {
    level: Option<f64>,
    count: u32,
}

impl Ewma {
    /// An average that starts at a known level instead of at its first value.
    pub const fn starting_at(level: f64) -> Self {
        Self { level: Some(level), count: 0 }
    }

    /// Takes a value with weight `lambda` (0 to 1) and answers the level. A value that is not finite changes nothing.
    pub fn step(&mut self, lambda: f64, x: f64) -> Option<f64> {
        if x.is_finite() {
            self.level = Some(self.level.map_or(x, |level| lambda * x + (1.0 - lambda) * level));
            self.count = self.count.saturating_add(1);
        }
        self.level
    }

    /// The level now; `None` before the first value.
    pub fn level(&self) -> Option<f64> {
        self.level
    }

    /// Values taken.
    pub fn count(&self) -> u32 {
        self.count
    }
}

/// Settings of a chart that judges an [`Ewma`]. NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct EwmaChart {
    /// Where the level should be.
    pub target: f64,
    /// Standard deviation of single values.
    pub sigma: f64,
    /// Weight of a new value, 0 to 1.
    pub lambda: f64,
    /// Width of the limits in standard deviations of the level.
    pub width: f64,
}

impl EwmaChart {
    /// Distance of the limits from the target once the chart has run for long.
    pub fn steady_half_width(&self) -> f64 {
        self.width * self.sigma * (self.lambda / (2.0 - self.lambda)).sqrt()
    }

    /// Distance of the limits from the target after `count` values, for a level that started at the target.
    pub fn half_width(&self, count: u32) -> f64 {
        let remaining = (1.0 - self.lambda).powf(2.0 * f64::from(count));
        self.steady_half_width() * (1.0 - remaining).sqrt()
    }

    /// Whether a level is outside the steady limits.
    pub fn signals(&self, level: f64) -> bool {
        (level - self.target).abs() > self.steady_half_width()
    }
}
