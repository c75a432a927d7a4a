use serde::{Deserialize, Serialize};
use statrs::function::erf::erfc;

use super::theil_sen::tied;

/// Outcome of a Mann-Kendall test for a monotonic trend.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct MannKendall {
    /// Pairs that rise minus pairs that fall.
    pub s: f64,
    /// Variance of `s` without a trend, corrected for ties.
    pub variance: f64,
    /// Continuity-corrected normal score.
    pub z: f64,
    /// Two-sided probability of such a score without a trend.
    pub p: f64,
    /// `s` over the number of pairs, -1 to 1.
    pub tau: f64,
}

/// Mann-Kendall test on values in time order. Its normal approximation wants ten values or more.
///
/// It takes values to be independent: serial correlation makes it see trends where there are none, see
/// [`mann_kendall_prewhitened`]. `None` with fewer than three values or with one that is not finite.
pub fn mann_kendall(values: &[f64]) -> Option<MannKendall> {
    if values.len() < 3 || values.iter().any(|v| !v.is_finite()) {
        return None;
    }
    let mut s = 0_i64;
    for (i, later) in values.iter().enumerate() {
        for earlier in &values[..i] {
            s += i64::from(later > earlier) - i64::from(later < earlier);
        }
    }
    let s = s as f64;
    let n = values.len() as f64;
    let variance = (n * (n - 1.0) * (2.0 * n + 5.0) - tied(&mut values.to_vec())) / 18.0;
    let z = if s == 0.0 || variance <= 0.0 { 0.0 } else { (s - s.signum()) / variance.sqrt() };
    let p = erfc(z.abs() / std::f64::consts::SQRT_2);
    Some(MannKendall { s, variance, z, p, tau: s / (n * (n - 1.0) / 2.0) })
}

/// Mann-Kendall test after taking out what each value carries over from the one before: `y[i] - r y[i-1]` with the
/// lag-1 autocorrelation `r` of the values about their mean. One value fewer is tested.
///
/// Of the usual corrections this one keeps to its nominal rate on short correlated series.
pub fn mann_kendall_prewhitened(values: &[f64]) -> Option<MannKendall> {
    if values.len() < 4 || values.iter().any(|v| !v.is_finite()) {
        return None;
    }
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    let square: f64 = values.iter().map(|v| (v - mean).powi(2)).sum();
    let product: f64 = values.windows(2).map(|w| (w[0] - mean) * (w[1] - mean)).sum();
    let r = if square > 0.0 { product / square } else { 0.0 };
    let whitened: Vec<f64> = values.windows(2).map(|w| w[1] - r * w[0]).collect();
    mann_kendall(&whitened)
}
