//! Chance, as the model uses it: every unit has streams of its own, so adding a unit changes no other.

use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

/// A stream of chance.
#[derive(Clone, Debug)]
pub(crate) struct Chance(ChaCha8Rng);

impl Chance {
    /// The stream `stream` of a seed.
    pub(crate) fn new(seed: u64, stream: u64) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        rng.set_stream(stream);
        Self(rng)
    }

    /// A stream of its own beside this one, which it leaves untouched; `n` tells several apart.
    pub(crate) fn fork(&self, n: u64) -> Self {
        let mut rng = ChaCha8Rng::from_seed(self.0.get_seed());
        rng.set_stream(self.0.get_stream() | n << 48);
        Self(rng)
    }

    /// A standard normal number.
    pub(crate) fn normal(&mut self) -> f64 {
        StandardNormal.sample(&mut self.0)
    }

    /// Evenly in a range.
    pub(crate) fn within(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// Evenly in 0..1.
    pub(crate) fn unit(&mut self) -> f64 {
        self.0.random::<f64>()
    }

    /// True with this probability.
    pub(crate) fn happens(&mut self, probability: f64) -> bool {
        self.unit() < probability
    }

    /// A whole number, 0..n; 0 for an empty range.
    pub(crate) fn below(&mut self, n: usize) -> usize {
        if n == 0 { 0 } else { (self.0.next_u64() % n as u64) as usize }
    }
}
