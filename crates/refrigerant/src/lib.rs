//! Saturation both ways, bubble and dew, with gauge reference and altitude.
//!
//! Outside the table there is no value; nothing is clamped. Temperatures are degrees Celsius, pressures kPa, absolute
//! unless they are called readings: a reading counts from what its [`PressureReference`] says is zero.
//!
//! ```
//! use rimeline_refrigerant::{Circuit, PressureReference, Refrigerant};
//!
//! let circuit = Circuit::new(Refrigerant::R404A, PressureReference::VentedGauge, 1_500.0).ok_or("no altitude")?;
//! let condensing = circuit.condensing_temperature(1_700.0).ok_or("outside the table")?;
//! assert!((condensing - 39.1).abs() < 0.1);
//! # Ok::<(), &'static str>(())
//! ```

mod circuit;
mod pressure;
mod refrigerant;
mod saturation;
mod table;

pub use circuit::Circuit;
pub use pressure::{
    PressureReference, STANDARD_ATMOSPHERE_KPA, ambient_kpa, from_absolute_kpa, to_absolute_kpa,
};
pub use refrigerant::Refrigerant;
pub use saturation::{Side, condensing_temperature, glide, saturation_pressure, saturation_temperature};
