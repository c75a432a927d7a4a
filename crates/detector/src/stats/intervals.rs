use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, Gamma};

/// Two ends of a confidence interval.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Interval {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// Exact two-sided interval for the mean of a Poisson count (Garwood 1936), at `level` such as 0.95.
///
/// Divide both ends by the exposure for a rate. `None` for a level outside 0..1.
pub fn garwood(count: u32, level: f64) -> Option<Interval> {
    let tail = tail(level)?;
    let n = f64::from(count);
    // A chi-squared quantile with 2 n degrees of freedom, halved, is a gamma quantile of shape n.
    let low = if count == 0 { 0.0 } else { gamma_quantile(n, tail)? };
    Some(Interval { low, high: gamma_quantile(n + 1.0, 1.0 - tail)? })
}

/// Wilson's score interval for a share of `successes` among `trials`, at `level` such as 0.95.
///
/// `None` without trials, with more successes than trials, or for a level outside 0..1.
pub fn wilson(successes: u32, trials: u32, level: f64) -> Option<Interval> {
    let z = normal_quantile(1.0 - tail(level)?);
    if trials == 0 || successes > trials {
        return None;
    }
    let n = f64::from(trials);
    let share = f64::from(successes) / n;
    let denominator = 1.0 + z * z / n;
    let centre = (share + z * z / (2.0 * n)) / denominator;
    let half = z / denominator * (share * (1.0 - share) / n + z * z / (4.0 * n * n)).sqrt();
    Some(Interval { low: (centre - half).max(0.0), high: (centre + half).min(1.0) })
}

/// Probability that a unit's event rate is above `rate`, having seen `count` events in `exposure`, where rates are
/// beforehand taken to follow a gamma distribution worth `prior_count` events in `prior_exposure`.
///
/// `rate` is per unit of exposure, such as per 100 running hours. `None` for a prior or an exposure that is not
/// positive, or a negative rate.
pub fn rate_exceeds(
    count: u32,
    exposure: f64,
    prior_count: f64,
    prior_exposure: f64,
    rate: f64,
) -> Option<f64> {
    if !(exposure >= 0.0 && rate >= 0.0 && prior_exposure > 0.0) {
        return None;
    }
    let posterior = Gamma::new(prior_count + f64::from(count), prior_exposure + exposure).ok()?;
    Some(posterior.sf(rate))
}

/// Quantile of the standard normal distribution.
pub(super) fn normal_quantile(p: f64) -> f64 {
    use statrs::function::erf::erfc_inv;
    -std::f64::consts::SQRT_2 * erfc_inv(2.0 * p)
}

/// Probability beyond either end of an interval.
pub(super) fn tail(level: f64) -> Option<f64> {
    (level > 0.0 && level < 1.0).then_some((1.0 - level) / 2.0)
}

fn gamma_quantile(shape: f64, p: f64) -> Option<f64> {
    Some(Gamma::new(shape, 1.0).ok()?.inverse_cdf(p))
}
