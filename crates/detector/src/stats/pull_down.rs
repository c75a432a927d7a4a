use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, StudentsT};

/// Running sums of a pull-down that follows `dT/dt = -a (T - end)`.
///
/// Integrated, that is a plane: `T = start - a I + a end t`, where `I` is the integral of T over time. Its three
/// coefficients come from ordinary least squares, so an unfinished pull-down is fitted without storing its values and
/// without iterating. Sums are kept about running means, which holds their digits over long episodes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct PullDown {
    count: u32,
    integral: f64,
    last_minutes: f64,
    last_temperature: f64,
    first_temperature: f64,
    mean: [f64; 3],
    // Products about the means: I I, I t, t t, I T, t T, T T.
    product: [f64; 6],
}

/// What a pull-down does, as far as it has gone.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct PullDownFit {
    /// Fitted temperature at time 0, Cel.
    pub start: f64,
    /// Temperature it would settle at, Cel.
    pub end: f64,
    /// Standard error of `end`, K. Successive readings share their noise through the integral, so it is a lower bound.
    pub end_error: f64,
    /// Rate constant, 1/min.
    pub rate: f64,
    /// Degrees of freedom left for the error.
    pub freedom: u32,
}

impl PullDown {
    /// Takes the air temperature `minutes` after the episode began. Times must increase; a value out of order or not
    /// finite is passed over. The temperature between two readings is taken as a straight line: end the episode at a
    /// gap.
    pub fn step(&mut self, minutes: f64, temperature: f64) {
        if !(minutes.is_finite() && temperature.is_finite())
            || (self.count > 0 && minutes <= self.last_minutes)
        {
            return;
        }
        if self.count == 0 {
            self.first_temperature = temperature;
        } else {
            self.integral +=
                (minutes - self.last_minutes) * f64::midpoint(temperature, self.last_temperature);
        }
        self.last_minutes = minutes;
        self.last_temperature = temperature;
        self.count += 1;
        let point = [self.integral, minutes, temperature];
        let n = f64::from(self.count);
        let before: [f64; 3] = std::array::from_fn(|i| point[i] - self.mean[i]);
        for (mean, difference) in self.mean.iter_mut().zip(before) {
            *mean += difference / n;
        }
        let after: [f64; 3] = std::array::from_fn(|i| point[i] - self.mean[i]);
        for (product, (i, j)) in self.product.iter_mut().zip([(0, 0), (0, 1), (1, 1), (0, 2), (1, 2), (2, 2)])
        {
            *product += before[i] * after[j];
        }
    }

    /// Readings taken.
    pub fn count(&self) -> u32 {
        self.count
    }

    /// Kelvin fallen since the first reading; negative where it rose.
    pub fn fall(&self) -> f64 {
        self.first_temperature - self.last_temperature
    }

    /// Minutes since the episode began, at the last reading.
    pub fn minutes(&self) -> f64 {
        self.last_minutes
    }

    /// The fit; `None` with fewer than four readings, or where the temperature does not level off in the least, so
    /// that no end can be told.
    pub fn fit(&self) -> Option<PullDownFit> {
        let [ii, it, tt, i_temp, t_temp, temp_temp] = self.product;
        let determinant = ii * tt - it * it;
        // Readings on a straight line make the two regressors proportional up to rounding.
        if self.count < 4 || determinant <= 1e-12 * ii * tt {
            return None;
        }
        let by_integral = (tt * i_temp - it * t_temp) / determinant;
        let by_time = (ii * t_temp - it * i_temp) / determinant;
        let rate = -by_integral;
        if rate <= 0.0 || !rate.is_finite() {
            return None;
        }
        let end = by_time / rate;
        let freedom = self.count - 3;
        let left_over = (temp_temp - by_integral * i_temp - by_time * t_temp).max(0.0) / f64::from(freedom);
        // First-order propagation through end = by_time / rate.
        let variance = left_over / determinant * (ii + end * end * tt - 2.0 * end * it) / (rate * rate);
        Some(PullDownFit {
            start: self.mean[2] - by_integral * self.mean[0] - by_time * self.mean[1],
            end,
            end_error: variance.max(0.0).sqrt(),
            rate,
            freedom,
        })
    }
}

impl PullDownFit {
    /// Minutes from time 0 until the fitted temperature is down at `target`; 0 where it starts there, `None` where it
    /// settles above it.
    pub fn minutes_to(&self, target: f64) -> Option<f64> {
        if target >= self.start {
            return Some(0.0);
        }
        (target > self.end).then(|| ((self.start - self.end) / (target - self.end)).ln() / self.rate)
    }

    /// One-sided lower bound of the temperature it would settle at, Cel, at `level` such as 0.9. Above the set point,
    /// the unit will not reach it.
    pub fn end_at_least(&self, level: f64) -> Option<f64> {
        if !(level > 0.0 && level < 1.0) {
            return None;
        }
        let t = StudentsT::new(0.0, 1.0, f64::from(self.freedom)).ok()?.inverse_cdf(level);
        Some(self.end - t * self.end_error)
    }
}
