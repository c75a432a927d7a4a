use serde::{Deserialize, Serialize};

/// Settings of a tabular cumulative sum chart over standardised values.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct CusumDesign {
    /// Slack per sample, standard deviations: half the shift that matters.
    pub k: f64,
    /// The chart signals when its sum is above this, never at it. Standard deviations.
    pub h: f64,
    /// Further slack for a baseline learned from n values: `guard / sqrt(n)`, standard deviations.
    pub guard: f64,
    /// A single value counts for at most this many standard deviations, so that one odd day opens nothing.
    pub clip: f64,
}

impl CusumDesign {
    /// A chart with neither guard nor clip.
    pub const fn new(k: f64, h: f64) -> Self {
        Self { k, h, guard: 0.0, clip: f64::INFINITY }
    }

    /// The same chart with slack for a short baseline.
    #[must_use]
    pub const fn with_guard(self, guard: f64) -> Self {
        Self { guard, ..self }
    }

    /// The same chart with single values limited.
    #[must_use]
    pub const fn with_clip(self, clip: f64) -> Self {
        Self { clip, ..self }
    }

    /// Slack per sample with a baseline of `baseline_n` values; no guard for 0, a baseline known exactly.
    pub fn slack(&self, baseline_n: u32) -> f64 {
        if baseline_n == 0 { self.k } else { self.k + self.guard / f64::from(baseline_n).sqrt() }
    }
}

/// One-sided cumulative sum, upward: `S = max(0, S + z - k - guard / sqrt(n))`.
///
/// After a signal it runs on; call [`Cusum::reset`] when what it found has been dealt with.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Cusum {
    sum: f64,
    onset: Option<i64>,
}

impl Cusum {
    /// Takes the standardised value `z` seen at `at` (any clock or count that increases) and answers whether the chart
    /// signals now. A value that is not finite changes nothing.
    pub fn step(&mut self, design: &CusumDesign, baseline_n: u32, z: f64, at: i64) -> bool {
        if z.is_finite() {
            let z = z.clamp(-design.clip, design.clip);
            let sum = (self.sum + z - design.slack(baseline_n)).max(0.0);
            self.onset = if sum > 0.0 { self.onset.or(Some(at)) } else { None };
            self.sum = sum;
        }
        self.signals(design)
    }

    /// Whether the sum is above its limit.
    pub fn signals(&self, design: &CusumDesign) -> bool {
        self.sum > design.h
    }

    /// The sum, standard deviations.
    pub fn sum(&self) -> f64 {
        self.sum
    }

    /// The sum over its limit; above 1 the chart signals.
    pub fn strength(&self, design: &CusumDesign) -> f64 {
        self.sum / design.h
    }

    /// Where the present rise began: the first value after the sum was last 0. `None` while it is 0.
    pub fn onset(&self) -> Option<i64> {
        self.onset
    }

    /// Starts over.
    pub fn reset(&mut self) {
        *self = Self::default();
    }
}

/// Which way a two-sided chart went.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Side {
    /// Values rose.
    Up,
    /// Values fell.
    Down,
}

/// Two-sided cumulative sum: one chart for a rise, one for a fall.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct CusumPair {
    /// Looks for a rise.
    pub up: Cusum,
    /// Looks for a fall.
    pub down: Cusum,
}

impl CusumPair {
    /// Takes a standardised value and answers which side signals now; the stronger one where both do.
    pub fn step(&mut self, design: &CusumDesign, baseline_n: u32, z: f64, at: i64) -> Option<Side> {
        self.up.step(design, baseline_n, z, at);
        self.down.step(design, baseline_n, -z, at);
        let (side, chart) = self.stronger();
        chart.signals(design).then_some(side)
    }

    /// The side with the greater sum.
    pub fn stronger(&self) -> (Side, &Cusum) {
        if self.down.sum > self.up.sum { (Side::Down, &self.down) } else { (Side::Up, &self.up) }
    }

    /// Starts over on both sides.
    pub fn reset(&mut self) {
        *self = Self::default();
    }
}

/// Samples until a one-sided chart signals, on average, by Siegmund's approximation for independent normal values
/// whose mean is `shift` standard deviations above the target: `b = h + 1.166`, `d = shift - k`,
/// `(exp(-2 d b) + 2 d b - 1) / (2 d^2)`. At shift 0 that is the samples between two false signals.
///
/// D. Siegmund, Sequential Analysis, Springer 1985.
pub fn siegmund_arl(k: f64, h: f64, shift: f64) -> f64 {
    let b = h + 1.166;
    let d = shift - k;
    if d.abs() < 1e-9 {
        return b * b;
    }
    let exponent = 2.0 * d * b;
    // exp_m1 keeps the digits that exp(-x) - 1 loses near d = 0.
    ((-exponent).exp_m1() + exponent) / (2.0 * d * d)
}
