use crate::pressure::zero_kpa;
use crate::{PressureReference, Refrigerant, Side, condensing_temperature, saturation_temperature};

/// A refrigerant circuit as its pressure channels see it: from raw readings to temperatures.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Circuit {
    refrigerant: Refrigerant,
    zero_kpa: f64,
}

impl Circuit {
    /// A circuit at an altitude in m, which matters to vented gauges only.
    ///
    /// `None` for a vented gauge at an altitude that has no [`crate::ambient_kpa`].
    pub fn new(refrigerant: Refrigerant, reference: PressureReference, altitude_m: f64) -> Option<Self> {
        Some(Self { refrigerant, zero_kpa: zero_kpa(reference, altitude_m)? })
    }

    /// Absolute pressure of a reading, kPa.
    pub fn absolute_kpa(&self, reading_kpa: f64) -> f64 {
        reading_kpa + self.zero_kpa
    }

    /// Condensing temperature at a discharge pressure reading in kPa, Cel; `None` outside the table.
    pub fn condensing_temperature(&self, reading_kpa: f64) -> Option<f64> {
        condensing_temperature(self.refrigerant, self.absolute_kpa(reading_kpa))
    }

    /// Evaporating temperature at a suction pressure reading in kPa, Cel: the dew temperature, from which superheat
    /// counts. `None` outside the table.
    pub fn evaporating_temperature(&self, reading_kpa: f64) -> Option<f64> {
        saturation_temperature(self.refrigerant, self.absolute_kpa(reading_kpa), Side::Dew)
    }

    /// Saturation temperature at a reading in kPa, Cel; `None` outside the table.
    pub fn saturation_temperature(&self, reading_kpa: f64, side: Side) -> Option<f64> {
        saturation_temperature(self.refrigerant, self.absolute_kpa(reading_kpa), side)
    }
}
