use serde::{Deserialize, Serialize};

use crate::Refrigerant;
use crate::table::{self, Row};

/// Zero of the Celsius scale, K.
const ZERO_CELSIUS_K: f64 = 273.15;

/// Which end of a phase change. A pure fluid has one temperature for both; a zeotropic blend has a [`glide`] between.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Side {
    /// Liquid about to boil: the liquid line, subcooling.
    Bubble,
    /// Vapour about to condense: the suction line, superheat.
    Dew,
}

/// Temperature at which the refrigerant is saturated at an absolute pressure, Cel.
///
/// `None` outside the table, which reaches from -60 to 70 Cel for most and never above a critical point.
pub fn saturation_temperature(refrigerant: Refrigerant, kpa_abs: f64, side: Side) -> Option<f64> {
    let rows = rows(refrigerant);
    let pressure = |row: &Row| of(row, side);
    let (lower, upper) = around(rows, kpa_abs, pressure)?;
    // ln p is close to linear in 1/T (Clausius-Clapeyron): 5 K between rows cost no more than 0.02 K.
    let (cold, warm) = (inverse_kelvin(lower.t), inverse_kelvin(upper.t));
    let share = (kpa_abs / pressure(lower)).ln() / (pressure(upper) / pressure(lower)).ln();
    Some(1.0 / (cold + share * (warm - cold)) - ZERO_CELSIUS_K)
}

/// Absolute pressure at which the refrigerant is saturated at a temperature, kPa.
///
/// `None` outside the table, which reaches from -60 to 70 Cel for most and never above a critical point.
pub fn saturation_pressure(refrigerant: Refrigerant, temperature: f64, side: Side) -> Option<f64> {
    let (lower, upper) = around(rows(refrigerant), temperature, |row| row.t)?;
    let (cold, warm) = (inverse_kelvin(lower.t), inverse_kelvin(upper.t));
    let share = (inverse_kelvin(temperature) - cold) / (warm - cold);
    Some(of(lower, side) * (of(upper, side) / of(lower, side)).powf(share))
}

/// Condensing temperature at an absolute pressure, Cel: the mean of bubble and dew.
///
/// Vapour begins to condense at the dew temperature and the last of it at the bubble temperature, so the mean is what
/// the air sees on average; with either end alone a blend would look up to 3 K dirtier or cleaner than a pure fluid in
/// the same condenser.
pub fn condensing_temperature(refrigerant: Refrigerant, kpa_abs: f64) -> Option<f64> {
    let bubble = saturation_temperature(refrigerant, kpa_abs, Side::Bubble)?;
    let dew = saturation_temperature(refrigerant, kpa_abs, Side::Dew)?;
    Some(f64::midpoint(bubble, dew))
}

/// Dew temperature minus bubble temperature at one absolute pressure, K; 0 for a pure fluid.
pub fn glide(refrigerant: Refrigerant, kpa_abs: f64) -> Option<f64> {
    let bubble = saturation_temperature(refrigerant, kpa_abs, Side::Bubble)?;
    Some(saturation_temperature(refrigerant, kpa_abs, Side::Dew)? - bubble)
}

fn rows(refrigerant: Refrigerant) -> &'static [Row] {
    match refrigerant {
        Refrigerant::R134a => table::R134A,
        Refrigerant::R404A => table::R404A,
        Refrigerant::R410A => table::R410A,
        Refrigerant::R448A => table::R448A,
        Refrigerant::R449A => table::R449A,
        Refrigerant::R452A => table::R452A,
        Refrigerant::R744 => table::R744,
    }
}

fn of(row: &Row, side: Side) -> f64 {
    match side {
        Side::Bubble => row.bubble,
        Side::Dew => row.dew,
    }
}

fn inverse_kelvin(celsius: f64) -> f64 {
    1.0 / (celsius + ZERO_CELSIUS_K)
}

/// The rows between which `value` lies, by a column that increases from row to row.
fn around(
    rows: &'static [Row],
    value: f64,
    column: impl Fn(&Row) -> f64,
) -> Option<(&'static Row, &'static Row)> {
    let above = rows.partition_point(|row| column(row) <= value);
    match above {
        0 => None,
        n if n == rows.len() => {
            // The last row itself belongs to the table; beyond it nothing does.
            let [.., before, last] = rows else { return None };
            (column(last) == value).then_some((before, last))
        }
        n => Some((&rows[n - 1], &rows[n])),
    }
}
