//! Units of measure by UCUM code (Unified Code for Units of Measure, essence 2.2), and conversion at the edge.

use serde::{Deserialize, Serialize};

/// A unit of measure that readings may come in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub enum Measure {
    /// `Cel`
    Celsius,
    /// `[degF]`
    Fahrenheit,
    /// `K`
    Kelvin,
    /// `Pa`
    Pascal,
    /// `kPa`
    Kilopascal,
    /// `bar`
    Bar,
    /// `[psi]`
    Psi,
    /// `V`
    Volt,
    /// `mV`
    Millivolt,
    /// `A`
    Ampere,
    /// `mA`
    Milliampere,
    /// `%`
    Percent,
    /// `{rev}/min`
    RevolutionsPerMinute,
    /// `Hz`
    Hertz,
    /// `h`
    Hour,
    /// `min`
    Minute,
    /// `s`
    Second,
    /// `{count}`
    Count,
}

/// A code that is no unit of measure known here.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{0}` is no UCUM code known here; one of: {known}", known = Measure::codes())]
pub struct UnknownMeasure(pub String);

/// (measure, code, base measure, factor, offset): base = value * factor + offset.
/// Factors: degF, psi and bar by definition (UCUM essence table).
const TABLE: &[(Measure, &str, Measure, f64, f64)] = &[
    (Measure::Celsius, "Cel", Measure::Celsius, 1.0, 0.0),
    (Measure::Fahrenheit, "[degF]", Measure::Celsius, 5.0 / 9.0, -160.0 / 9.0),
    (Measure::Kelvin, "K", Measure::Celsius, 1.0, -273.15),
    (Measure::Pascal, "Pa", Measure::Kilopascal, 0.001, 0.0),
    (Measure::Kilopascal, "kPa", Measure::Kilopascal, 1.0, 0.0),
    (Measure::Bar, "bar", Measure::Kilopascal, 100.0, 0.0),
    (Measure::Psi, "[psi]", Measure::Kilopascal, 6.894_757_293_168, 0.0),
    (Measure::Volt, "V", Measure::Volt, 1.0, 0.0),
    (Measure::Millivolt, "mV", Measure::Volt, 0.001, 0.0),
    (Measure::Ampere, "A", Measure::Ampere, 1.0, 0.0),
    (Measure::Milliampere, "mA", Measure::Ampere, 0.001, 0.0),
    (Measure::Percent, "%", Measure::Percent, 1.0, 0.0),
    (Measure::RevolutionsPerMinute, "{rev}/min", Measure::RevolutionsPerMinute, 1.0, 0.0),
    (Measure::Hertz, "Hz", Measure::RevolutionsPerMinute, 60.0, 0.0),
    (Measure::Hour, "h", Measure::Hour, 1.0, 0.0),
    (Measure::Minute, "min", Measure::Hour, 1.0 / 60.0, 0.0),
    (Measure::Second, "s", Measure::Hour, 1.0 / 3600.0, 0.0),
    (Measure::Count, "{count}", Measure::Count, 1.0, 0.0),
];

impl Measure {
    fn row(self) -> &'static (Measure, &'static str, Measure, f64, f64) {
        // The table has a row for every variant; `every_measure_has_a_row` holds it to that.
        TABLE.iter().find(|row| row.0 == self).unwrap_or(&TABLE[0])
    }

    /// The UCUM code.
    pub fn code(self) -> &'static str {
        self.row().1
    }

    /// The measure with this UCUM code. Codes are case-sensitive.
    pub fn from_code(code: &str) -> Result<Self, UnknownMeasure> {
        TABLE.iter().find(|row| row.1 == code).map(|row| row.0).ok_or_else(|| UnknownMeasure(code.to_owned()))
    }

    /// Converts a quantity into another measure; `None` where the two measure different things.
    pub fn convert(self, quantity: f64, into: Measure) -> Option<f64> {
        let (_, _, base, factor, offset) = *self.row();
        let (_, _, into_base, into_factor, into_offset) = *into.row();
        (base == into_base).then(|| (quantity * factor + offset - into_offset) / into_factor)
    }

    fn codes() -> String {
        TABLE.iter().map(|row| row.1).collect::<Vec<_>>().join(" ")
    }
}

impl TryFrom<String> for Measure {
    type Error = UnknownMeasure;
    fn try_from(code: String) -> Result<Self, UnknownMeasure> {
        Self::from_code(&code)
    }
}

impl From<Measure> for String {
    fn from(measure: Measure) -> String {
        measure.code().to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_measure_has_a_row() {
        for row in TABLE {
            assert_eq!(Measure::from_code(row.0.code()), Ok(row.0));
        }
    }

    /// Fixed points by definition: 32 degF = 0 Cel, -40 degF = -40 Cel, 1 bar = 100 kPa, 14.5037738 psi = 1 bar.
    #[test]
    fn conversions_hit_their_fixed_points() {
        let near = |a: Option<f64>, b: f64| assert!((a.unwrap() - b).abs() < 1e-6, "{a:?} {b}");
        near(Measure::Fahrenheit.convert(32.0, Measure::Celsius), 0.0);
        near(Measure::Fahrenheit.convert(-40.0, Measure::Celsius), -40.0);
        near(Measure::Celsius.convert(100.0, Measure::Fahrenheit), 212.0);
        near(Measure::Bar.convert(1.0, Measure::Kilopascal), 100.0);
        near(Measure::Psi.convert(14.503_773_8, Measure::Bar), 1.0);
        near(Measure::Hertz.convert(30.0, Measure::RevolutionsPerMinute), 1800.0);
        assert_eq!(Measure::Psi.convert(1.0, Measure::Celsius), None);
    }

    /// UCUM: `C` is coulomb, `c` is only a prefix, `F` is farad, `rpm` is no code.
    #[test]
    fn look_alike_codes_are_refused() {
        for code in ["C", "c", "F", "rpm", "psi", "degF", "PSI", "m", ""] {
            assert!(Measure::from_code(code).is_err(), "{code}");
        }
    }
}
