use serde::{Deserialize, Serialize};

use super::intervals::{normal_quantile, tail};
use super::robust::{MAD_TO_SIGMA, mad_in_place, median_in_place};
use super::theil_sen::theil_sen;

/// Beyond this a short series cannot tell correlation from trend.
const GREATEST_AUTOCORRELATION: f64 = 0.8;

/// A trend in daily values, with ends that allow for values that resemble the day before.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Trend {
    /// Theil-Sen slope, per day.
    pub slope: f64,
    /// Lower end of the slope's interval, widened for autocorrelation.
    pub slope_low: f64,
    /// Upper end of the slope's interval, widened for autocorrelation.
    pub slope_high: f64,
    /// Where the line is at the last value.
    pub level: f64,
    /// Half-width of the level's interval, widened for autocorrelation.
    pub level_error: f64,
    /// Lag-1 autocorrelation of what the line leaves over, corrected for the shortness of the series, 0 to 0.8.
    pub autocorrelation: f64,
    /// By how much both intervals were widened, 1 to 3.
    pub inflation: f64,
}

/// From which side a limit is approached.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Approach {
    /// Values rise towards it.
    FromBelow,
    /// Values fall towards it.
    FromAbove,
}

/// Days until a trend reaches a limit; 0 where it is there already.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct TimeToLimit {
    /// At the slope found; `None` where that slope leads away.
    pub days: Option<f64>,
    /// Early end of the interval.
    pub early: f64,
    /// Late end of the interval; `None`: it may never be reached.
    pub late: Option<f64>,
}

/// Lag-1 autocorrelation of residuals about zero: `sum r[i] r[i+1] / sum r[i]^2`; 0 where all are 0.
pub fn lag1_autocorrelation(residuals: &[f64]) -> f64 {
    let square: f64 = residuals.iter().map(|r| r * r).sum();
    if square > 0.0 { residuals.windows(2).map(|w| w[0] * w[1]).sum::<f64>() / square } else { 0.0 }
}

/// Trend over some weeks of daily values, with intervals at `level` such as 0.9.
///
/// The plain Theil-Sen interval takes values to be independent; at a lag-1 autocorrelation of 0.4, common between
/// days, forecasts from it cover little more than half of what they claim. Both half-widths are therefore multiplied
/// by `sqrt((1 + r) / (1 - r))`, where r is the autocorrelation of the residuals about their median, with `(1 + 4 r) / n` added
/// because short series hide it.
///
/// `None` where [`theil_sen`] answers `None`, or with fewer than four values.
pub fn trend(days: &[f64], values: &[f64], level: f64) -> Option<Trend> {
    if values.len() < 4 {
        return None;
    }
    let z = normal_quantile(1.0 - tail(level)?);
    let line = theil_sen(days, values, level)?;
    let mut residuals: Vec<f64> =
        days.iter().zip(values).map(|(t, y)| y - line.intercept - line.slope * t).collect();
    let middle = median_in_place(&mut residuals.clone())?;
    for residual in &mut residuals {
        *residual -= middle;
    }
    let n = values.len() as f64;
    let raw = lag1_autocorrelation(&residuals);
    let autocorrelation = (raw + (1.0 + 4.0 * raw) / n).clamp(0.0, GREATEST_AUTOCORRELATION);
    let inflation = ((1.0 + autocorrelation) / (1.0 - autocorrelation)).sqrt();
    let sigma = MAD_TO_SIGMA * mad_in_place(&mut residuals, 0.0)?;
    Some(Trend {
        slope: line.slope,
        slope_low: line.slope - inflation * (line.slope - line.low),
        slope_high: line.slope + inflation * (line.high - line.slope),
        level: line.intercept + line.slope * days.last()?,
        // A line's end is about twice as uncertain as its middle, and a median 1.2533 times as uncertain as a mean.
        level_error: z * 2.0 * 1.2533 * sigma / n.sqrt() * inflation,
        autocorrelation,
        inflation,
    })
}

impl Trend {
    /// Days until `limit`, from the last value on, uncertain in slope and level. `None` where even the steepest slope
    /// leads away from it.
    pub fn time_to_limit(&self, limit: f64, approach: Approach) -> Option<TimeToLimit> {
        self.time_to(limit, approach, self.level_error)
    }

    /// As [`Trend::time_to_limit`], taking the level as known: for a level that was measured and not fitted.
    pub fn time_to_limit_from_known_level(&self, limit: f64, approach: Approach) -> Option<TimeToLimit> {
        self.time_to(limit, approach, 0.0)
    }

    fn time_to(&self, limit: f64, approach: Approach, level_error: f64) -> Option<TimeToLimit> {
        let (room, slow, slope, fast) = match approach {
            Approach::FromBelow => (limit - self.level, self.slope_low, self.slope, self.slope_high),
            Approach::FromAbove => (self.level - limit, -self.slope_high, -self.slope, -self.slope_low),
        };
        if !limit.is_finite() {
            return None;
        }
        if room <= 0.0 {
            return Some(TimeToLimit { days: Some(0.0), early: 0.0, late: Some(0.0) });
        }
        (fast > 0.0).then(|| TimeToLimit {
            days: (slope > 0.0).then(|| room / slope),
            early: ((room - level_error) / fast).max(0.0),
            late: (slow > 0.0).then(|| (room + level_error) / slow),
        })
    }
}
