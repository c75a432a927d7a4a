use serde::{Deserialize, Serialize};

use super::robust::{MAD_TO_SIGMA, mad_in_place, median_in_place};

/// Values a [`Hampel`] filter looks at, the newest included.
pub const HAMPEL_WINDOW: usize = 7;

/// Fewer values say nothing about the newest.
const LEAST_VALUES: usize = 5;

/// Settings of a [`Hampel`] filter.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct HampelDesign {
    /// Robust standard deviations from the median beyond which a value is odd.
    pub kappa: f64,
    /// Least robust standard deviation assumed, in the unit of the values: a quiet channel's last digit is no spike.
    pub floor: f64,
}

/// Causal Hampel filter: compares each value with the median of the last [`HAMPEL_WINDOW`].
///
/// It sees the past only, so the first values of a lasting step look odd too; whoever judges must wait to see whether
/// the values come back.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Hampel {
    // Single precision holds every fixed-point reading to well below its step and halves the state.
    window: [f32; HAMPEL_WINDOW],
    len: u8,
    next: u8,
}

/// A value among its predecessors.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Neighbourhood {
    /// Median of the window.
    pub median: f64,
    /// Robust standard deviation of the window, not below the floor.
    pub sigma: f64,
    /// Whether the newest value is odd.
    pub odd: bool,
}

impl Hampel {
    /// Takes a value; `None` until there are five. A value that is not finite is passed over.
    pub fn step(&mut self, design: &HampelDesign, x: f64) -> Option<Neighbourhood> {
        if !x.is_finite() {
            return None;
        }
        let next = usize::from(self.next) % HAMPEL_WINDOW;
        self.window[next] = x as f32;
        self.next = ((next + 1) % HAMPEL_WINDOW) as u8;
        let len = (usize::from(self.len) + 1).min(HAMPEL_WINDOW);
        self.len = len as u8;
        if len < LEAST_VALUES {
            return None;
        }
        let mut scratch = self.window.map(f64::from);
        // Until the ring is full its values stand at its beginning, in order.
        let values = &mut scratch[..len];
        let median = median_in_place(values)?;
        let sigma = (MAD_TO_SIGMA * mad_in_place(values, median)?).max(design.floor);
        let odd = (f64::from(x as f32) - median).abs() > design.kappa * sigma;
        Some(Neighbourhood { median, sigma, odd })
    }

    /// Forgets all values, as after a gap.
    pub fn reset(&mut self) {
        *self = Self::default();
    }
}
