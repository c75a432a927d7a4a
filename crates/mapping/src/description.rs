use serde::{Deserialize, Serialize};

/// What a mapping says about a unit for the registry, in the words of the file; nothing where it says nothing.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct UnitDescription {
    /// `semi_trailer` or `rigid`.
    pub body: Option<String>,
    /// E.g. `R452A`.
    pub refrigerant: Option<String>,
    /// `vented_gauge`, `sealed_gauge` or `absolute`.
    pub pressure_reference: Option<String>,
    /// Altitude above sea level, m.
    pub altitude_m: Option<f64>,
    /// Names of the channels that have a sensor; where the mapping is silent, the channels it maps.
    pub fitted: Option<Vec<String>>,
    /// `engine`, `shore`.
    pub drives: Option<Vec<String>>,
    /// Where the unit belongs; units of one depot are neighbours.
    pub depot: Option<String>,
    /// IANA name.
    pub time_zone: Option<String>,
    /// Units of one family are compared with each other.
    pub family: Option<String>,
    /// High-pressure cut-out, kPa in the unit's own pressure reference.
    pub high_pressure_cut_out_kpa: Option<f64>,
    /// Expected time between readings, s.
    pub cadence_s: Option<u32>,
}

/// What a mapping says about the load of a unit, in the words of the file.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Load {
    /// The load's own id.
    pub load: Option<String>,
    /// RFC 3339.
    pub from: Option<String>,
    /// RFC 3339; until further notice where the mapping is silent.
    pub until: Option<String>,
    /// `empty`, `frozen`, `chilled`, `fresh_produce` or `pharma`.
    pub cargo_class: Option<String>,
    /// The temperature to hold, Cel.
    pub set_point_cel: Option<f64>,
    /// Tolerated band below the set point, K.
    pub band_below_k: Option<f64>,
    /// Tolerated band above the set point, K.
    pub band_above_k: Option<f64>,
    /// `continuous` or `start_stop`; any where the mapping is silent.
    pub required_running_mode: Option<String>,
}

macro_rules! fill_from {
    ($own:ident, $general:ident, $($field:ident)*) => {
        Self { $($field: $own.$field.clone().or_else(|| $general.$field.clone()),)* }
    };
}

impl UnitDescription {
    /// This description, with what it leaves out taken from a general one.
    #[must_use]
    pub fn over(&self, general: &Self) -> Self {
        fill_from!(self, general, body refrigerant pressure_reference altitude_m fitted drives depot time_zone family
            high_pressure_cut_out_kpa cadence_s)
    }
}

impl Load {
    /// This load, with what it leaves out taken from a general one.
    #[must_use]
    pub fn over(&self, general: &Self) -> Self {
        fill_from!(self, general, load from until cargo_class set_point_cel band_below_k band_above_k
            required_running_mode)
    }
}
