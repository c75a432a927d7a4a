use serde::{Deserialize, Serialize};

/// What zero means for a pressure reading.
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

/// Standard atmosphere at sea level, kPa.
pub const STANDARD_ATMOSPHERE_KPA: f64 = 101.325;

/// Pressure of the surrounding air at an altitude in m, kPa absolute, in the international standard atmosphere
/// (ISO 2533, troposphere): `101.325 (1 - 2.25577e-5 h)^5.25588`. Weather moves it by some 3 kPa.
///
/// `None` below -1,000 m and above 11,000 m, where the formula does not hold.
pub fn ambient_kpa(altitude_m: f64) -> Option<f64> {
    (-1_000.0..=11_000.0)
        .contains(&altitude_m)
        .then(|| STANDARD_ATMOSPHERE_KPA * (1.0 - 2.25577e-5 * altitude_m).powf(5.25588))
}

/// Absolute pressure in kPa of a reading in kPa.
///
/// `None` where that is not above vacuum, and for a vented gauge where the altitude has no [`ambient_kpa`].
pub fn to_absolute_kpa(reading_kpa: f64, reference: PressureReference, altitude_m: f64) -> Option<f64> {
    let absolute = reading_kpa + zero_kpa(reference, altitude_m)?;
    (absolute > 0.0 && absolute.is_finite()).then_some(absolute)
}

/// What a channel of this reference reads at an absolute pressure, both kPa.
///
/// `None` for a pressure that is not above vacuum, and for a vented gauge where the altitude has no [`ambient_kpa`].
pub fn from_absolute_kpa(absolute_kpa: f64, reference: PressureReference, altitude_m: f64) -> Option<f64> {
    let zero = zero_kpa(reference, altitude_m)?;
    (absolute_kpa > 0.0 && absolute_kpa.is_finite()).then_some(absolute_kpa - zero)
}

/// Absolute pressure at which a channel reads zero, kPa.
pub(crate) fn zero_kpa(reference: PressureReference, altitude_m: f64) -> Option<f64> {
    match reference {
        PressureReference::VentedGauge => ambient_kpa(altitude_m),
        PressureReference::SealedGauge => Some(STANDARD_ATMOSPHERE_KPA),
        PressureReference::Absolute => Some(0.0),
    }
}
