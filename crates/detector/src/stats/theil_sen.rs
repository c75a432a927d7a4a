use serde::{Deserialize, Serialize};

use super::intervals::{normal_quantile, tail};
use super::robust::median_in_place;

/// A straight line through values that outliers do not tilt.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct TheilSen {
    /// Median of the slopes of all pairs, per unit of x.
    pub slope: f64,
    /// `median(y) - slope * median(x)`.
    pub intercept: f64,
    /// Lower end of the slope's interval, for independent values.
    pub low: f64,
    /// Upper end of the slope's interval, for independent values.
    pub high: f64,
}

/// Theil-Sen line with an interval for the slope at `level` such as 0.9 (Sen 1968, ties counted).
///
/// Looks at every pair: meant for some tens of values. `None` with fewer than two different x, with lists of different
/// length, with a value that is not finite, or for a level outside 0..1.
pub fn theil_sen(x: &[f64], y: &[f64], level: f64) -> Option<TheilSen> {
    let z = normal_quantile(1.0 - tail(level)?);
    if x.len() != y.len() || x.len() < 2 {
        return None;
    }
    let mut xs = x.to_vec();
    let mut ys = y.to_vec();
    let middle_x = median_in_place(&mut xs)?;
    let middle_y = median_in_place(&mut ys)?;
    let mut slopes = Vec::with_capacity(x.len() * (x.len() - 1) / 2);
    for (i, (xi, yi)) in x.iter().zip(y).enumerate() {
        for (xj, yj) in x[..i].iter().zip(y) {
            if xi != xj {
                slopes.push((yi - yj) / (xi - xj));
            }
        }
    }
    if slopes.is_empty() {
        return None;
    }
    slopes.sort_unstable_by(f64::total_cmp);
    let slope = median_of_sorted(&slopes);

    let n = x.len() as f64;
    let variance = (n * (n - 1.0) * (2.0 * n + 5.0) - tied(&mut xs) - tied(&mut ys)) / 18.0;
    let pairs = slopes.len() as f64;
    let reach = z * variance.max(0.0).sqrt();
    let last = slopes.len() - 1;
    // Ranks as in scipy.stats.theilslopes, halves rounded to even.
    let upper = f64::midpoint(pairs, reach).round_ties_even().min(last as f64) as usize;
    let lower = (f64::midpoint(pairs, -reach).round_ties_even() - 1.0).max(0.0) as usize;
    Some(TheilSen { slope, intercept: middle_y - slope * middle_x, low: slopes[lower], high: slopes[upper] })
}

/// `sum t (t - 1) (2 t + 5)` over groups of `t` equal values, which are sorted on the way.
pub(super) fn tied(values: &mut [f64]) -> f64 {
    values.sort_unstable_by(f64::total_cmp);
    values
        .chunk_by(|a, b| a == b)
        .map(|group| {
            let t = group.len() as f64;
            t * (t - 1.0) * (2.0 * t + 5.0)
        })
        .sum()
}

fn median_of_sorted(values: &[f64]) -> f64 {
    let middle = values.len() / 2;
    if values.len().is_multiple_of(2) {
        f64::midpoint(values[middle - 1], values[middle])
    } else {
        values[middle]
    }
}
