//! Pressures to temperatures, with what the registry knows of the unit.

use rimeline_refrigerant::Circuit;

use crate::UnitSetup;

/// Condensing temperature at a discharge pressure in the unit's own reference, Cel: the mean of bubble and dew.
pub(crate) fn condensing(setup: &UnitSetup, kpa: f64) -> Option<f64> {
    let circuit = Circuit::new(setup.refrigerant?, setup.pressure_reference?, setup.altitude_m)?;
    circuit.condensing_temperature(kpa)
}
