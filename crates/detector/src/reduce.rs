//! Many values to one, in bounded space and without randomness.

use serde::{Deserialize, Serialize};

/// Values kept for a median.
const KEPT: usize = 8;

/// The median of a stream. Up to [`KEPT`] values it is exact; beyond, every second, fourth, ... value is kept.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Median {
    values: [f32; KEPT],
    len: u8,
    /// log2 of how many values one kept value stands for.
    stride: u8,
    skipped: u32,
    seen: u32,
}

impl Median {
    pub(crate) fn push(&mut self, value: f64) {
        self.seen += 1;
        self.skipped += 1;
        if self.skipped < 1 << self.stride {
            return;
        }
        self.skipped = 0;
        if usize::from(self.len) == KEPT {
            for i in 0..KEPT / 2 {
                self.values[i] = self.values[2 * i + 1];
            }
            self.len = (KEPT / 2) as u8;
            self.stride = (self.stride + 1).min(30);
        }
        self.values[usize::from(self.len)] = value as f32;
        self.len += 1;
    }

    /// How many values were seen.
    pub(crate) fn seen(&self) -> u32 {
        self.seen
    }

    pub(crate) fn get(&self) -> Option<f64> {
        let mut kept = self.values;
        median_f32(&mut kept[..usize::from(self.len)])
    }

    pub(crate) fn clear(&mut self) {
        *self = Self::default();
    }
}

/// The median, sorting `values`; of an even number the mean of the middle two.
pub(crate) fn median_f32(values: &mut [f32]) -> Option<f64> {
    values.sort_unstable_by(f32::total_cmp);
    let n = values.len();
    match n {
        0 => None,
        _ if n % 2 == 1 => Some(f64::from(values[n / 2])),
        _ => Some(f64::midpoint(f64::from(values[n / 2 - 1]), f64::from(values[n / 2]))),
    }
}

/// The median of the distances from `centre`, times 1.4826: the standard deviation where values scatter normally.
pub(crate) fn spread(values: &[f32], centre: f64) -> f64 {
    let mut distances: Vec<f32> = values.iter().map(|v| (f64::from(*v) - centre).abs() as f32).collect();
    median_f32(&mut distances).unwrap_or(0.0) * 1.4826
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn few_values_give_their_exact_median() {
        let mut m = Median::default();
        assert_eq!(m.get(), None);
        for v in [3.0, 1.0, 2.0] {
            m.push(v);
        }
        assert_eq!(m.get(), Some(2.0));
        m.push(10.0);
        assert_eq!(m.get(), Some(2.5));
    }

    proptest! {
        #[test]
        fn the_median_of_many_lies_among_them(values in prop::collection::vec(-50.0..50.0f64, 1..2000)) {
            let mut m = Median::default();
            for v in &values {
                m.push(*v);
            }
            let got = m.get().unwrap_or(f64::NAN);
            let low = values.iter().copied().fold(f64::INFINITY, f64::min);
            let high = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            prop_assert!(got >= low - 1e-4 && got <= high + 1e-4);
            prop_assert_eq!(m.seen(), values.len() as u32);
        }
    }

    #[test]
    fn the_median_of_a_long_ramp_is_near_its_middle() {
        let mut m = Median::default();
        (0..10_000).for_each(|i| m.push(f64::from(i)));
        let got = m.get().unwrap_or(0.0);
        assert!((3500.0..6500.0).contains(&got), "{got}");
    }
}
