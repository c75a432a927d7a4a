//! Saturation pressure by a two-parameter vapour-pressure law, ln p = a - b / T.
//!
//! The law follows from Clausius and Clapeyron with a constant heat of evaporation. Its parameters were fitted by
//! least squares to fluid properties, -40..15 Cel for the low side (dew) and 15..65 Cel for the high side (middle of
//! bubble and dew); inside those spans it is within 0.4 K. It is deliberately not a table.

use serde::{Deserialize, Serialize};

const KELVIN: f64 = 273.15;

/// What circulates in a unit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum Refrigerant {
    /// R-134a.
    R134a,
    /// R-404A.
    R404A,
    /// R-449A.
    R449A,
    /// R-452A.
    R452A,
}

impl Refrigerant {
    /// Designation as people write it.
    pub fn name(self) -> &'static str {
        match self {
            Self::R134a => "R-134a",
            Self::R404A => "R-404A",
            Self::R449A => "R-449A",
            Self::R452A => "R-452A",
        }
    }

    /// (a, b) of the low side and of the high side, for kPa and kelvin.
    fn law(self) -> [(f64, f64); 2] {
        match self {
            Self::R134a => [(15.7541, 2752.47), (15.3383, 2635.20)],
            Self::R404A => [(15.2145, 2408.69), (15.0758, 2369.34)],
            Self::R449A => [(15.6444, 2570.25), (15.2333, 2430.71)],
            Self::R452A => [(15.3956, 2478.69), (15.1427, 2390.61)],
        }
    }

    /// Absolute evaporating pressure in kPa at a saturation temperature in Cel.
    pub(crate) fn low_side_kpa(self, t: f64) -> f64 {
        let (a, b) = self.law()[0];
        (a - b / (t + KELVIN)).exp()
    }

    /// Absolute condensing pressure in kPa at a saturation temperature in Cel.
    pub(crate) fn high_side_kpa(self, t: f64) -> f64 {
        let (a, b) = self.law()[1];
        (a - b / (t + KELVIN)).exp()
    }

    /// Where the high-pressure switch opens, kPa gauge. Common practice, no source.
    pub(crate) fn cut_out_gauge_kpa(self) -> f64 {
        match self {
            Self::R134a => 2000.0,
            Self::R404A | Self::R452A => 2900.0,
            Self::R449A => 2800.0,
        }
    }
}

/// What zero means for a unit's pressure channels.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum PressureReference {
    /// Zero at the surrounding air's pressure.
    VentedGauge,
    /// Zero at 101.325 kPa whatever the altitude.
    SealedGauge,
    /// Zero at vacuum.
    Absolute,
}

impl PressureReference {
    /// What to take off an absolute pressure, kPa.
    pub(crate) fn zero_kpa(self, altitude_m: f64) -> f64 {
        match self {
            Self::VentedGauge => air_kpa(altitude_m),
            Self::SealedGauge => 101.325,
            Self::Absolute => 0.0,
        }
    }
}

/// Air pressure at an altitude: the isothermal atmosphere with a scale height of 8,400 m.
pub(crate) fn air_kpa(altitude_m: f64) -> f64 {
    101.325 * (-altitude_m / 8400.0).exp()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Reference values: `CoolProp` 8.0.0, kPa absolute, dew at -30 Cel and middle of bubble and dew at 40 Cel.
    #[test]
    fn the_law_is_within_a_kelvin_of_fluid_properties() {
        let reference = [
            (Refrigerant::R134a, 84.38, 1016.59),
            (Refrigerant::R404A, 202.23, 1822.25),
            (Refrigerant::R449A, 159.97, 1755.26),
            (Refrigerant::R452A, 181.73, 1821.25),
        ];
        for (fluid, low, high) in reference {
            // One kelvin is about 4 % of the pressure at -30 Cel and 2.4 % at 40 Cel.
            let off = (fluid.low_side_kpa(-30.0) / low - 1.0).abs();
            assert!(off < 0.04, "{} low side is {:.1} % off", fluid.name(), off * 100.0);
            let off = (fluid.high_side_kpa(40.0) / high - 1.0).abs();
            assert!(off < 0.024, "{} high side is {:.1} % off", fluid.name(), off * 100.0);
        }
    }

    #[test]
    fn a_vented_gauge_reads_higher_on_a_mountain() {
        let zero = |r: PressureReference| r.zero_kpa(1500.0);
        assert!(zero(PressureReference::VentedGauge) < 86.0);
        assert_eq!(zero(PressureReference::SealedGauge), 101.325);
        assert_eq!(zero(PressureReference::Absolute), 0.0);
    }
}
