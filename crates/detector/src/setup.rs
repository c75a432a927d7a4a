use rimeline_channels::{Channel, RunningMode};
use rimeline_refrigerant::{PressureReference, Refrigerant};
use serde::{Deserialize, Serialize};

/// What the registry knows of a unit, as far as detectors need it. `Default` is a unit that nobody described.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct UnitSetup {
    /// The refrigerant; `None`: no saturation temperature is computed.
    pub refrigerant: Option<Refrigerant>,
    /// What zero means for its pressure channels; `None`: no saturation temperature is computed.
    pub pressure_reference: Option<PressureReference>,
    /// Altitude, m.
    pub altitude_m: f64,
    /// Channels that are fitted; empty: not stated.
    pub fitted: Vec<Channel>,
    /// High-pressure cut-out in the unit's own reference, kPa.
    pub cut_out_kpa: Option<f64>,
    /// Expected time between readings, s; `None`: learned.
    pub cadence_s: Option<u32>,
    /// Units of one family are compared with each other.
    pub family: String,
    /// The load the unit carries now, if one is stated.
    pub load: Option<Within>,
}

/// What a load tolerates.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Within {
    /// Planned set point, Cel.
    pub set_point: f64,
    /// Tolerated below it, K.
    pub below: f64,
    /// Tolerated above it, K.
    pub above: f64,
    /// The running mode the load requires.
    pub running_mode: Option<RunningMode>,
}
