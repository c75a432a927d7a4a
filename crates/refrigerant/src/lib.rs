//! Saturation both ways, bubble and dew, with gauge reference and altitude.
//!
//! Outside the table there is no value; nothing is clamped.

use serde::{Deserialize, Serialize};

/// A refrigerant with a saturation table.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum Refrigerant {
    /// R-134a, a pure fluid.
    R134a,
    /// R-404A.
    R404A,
    /// R-410A.
    R410A,
    /// R-448A.
    R448A,
    /// R-449A.
    R449A,
    /// R-452A.
    R452A,
    /// R-744, carbon dioxide.
    R744,
}

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
