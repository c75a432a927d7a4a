use jiff::tz::TimeZoneDatabase;
use rimeline_channels::Drive;

use crate::{CargoClass, Load, UnitDescription};

/// A field that cannot be taken, and why. The field is named as in the public contract.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{field}: {message}")]
pub struct FieldError {
    /// Which field.
    pub field: &'static str,
    /// Why.
    pub message: String,
}

impl FieldError {
    /// A field and why it cannot be taken.
    pub fn new(field: &'static str, message: impl Into<String>) -> Self {
        Self { field, message: message.into() }
    }
}

/// The longest depot or family, in characters.
pub const MAX_LABEL: usize = 64;
/// The longest expected time between readings, s: a day.
pub const MAX_CADENCE_S: u32 = 86_400;

/// Checks a unit's description.
pub fn validate_description(unit: &UnitDescription) -> Result<(), FieldError> {
    if let Some(altitude) = unit.altitude_m {
        within("altitude_m", altitude, -500.0, 5000.0, "m")?;
    }
    label("depot", &unit.depot)?;
    label("family", &unit.family)?;
    time_zone(&unit.time_zone)?;
    if let Some(cut_out) = unit.high_pressure_cut_out_kpa {
        // The span of the discharge pressure channel ends there.
        within("high_pressure_cut_out_kpa", cut_out, 100.0, 15_000.0, "kPa")?;
    }
    if let Some(cadence) = unit.cadence_s.filter(|c| !(1..=MAX_CADENCE_S).contains(c)) {
        return Err(FieldError::new("cadence_s", format!("{cadence} s is not in 1 to {MAX_CADENCE_S} s")));
    }
    if unit.drives.contains(&Drive::Unknown) {
        return Err(FieldError::new("drives", "a drive is engine or shore; leave out what is not known"));
    }
    Ok(())
}

/// Checks a load.
pub fn validate_load(load: &Load) -> Result<(), FieldError> {
    if load.until.is_some_and(|until| until <= load.from) {
        return Err(FieldError::new("until_ms", "a load ends after it starts; 0 is until further notice"));
    }
    if load.cargo_class == CargoClass::Unknown {
        return Err(FieldError::new(
            "cargo_class",
            "a load has a class; `empty` states that a unit carries nothing",
        ));
    }
    within("set_point_cel", load.set_point, -45.0, 70.0, "Cel")?;
    within("band_below_k", load.band_below, 0.0, 50.0, "K")?;
    within("band_above_k", load.band_above, 0.0, 50.0, "K")
}

fn within(field: &'static str, value: f64, low: f64, high: f64, unit: &str) -> Result<(), FieldError> {
    if (low..=high).contains(&value) {
        Ok(())
    } else {
        Err(FieldError::new(field, format!("{value} is not in {low} to {high} {unit}")))
    }
}

fn label(field: &'static str, text: &str) -> Result<(), FieldError> {
    if text.chars().count() > MAX_LABEL {
        return Err(FieldError::new(field, format!("longer than {MAX_LABEL} characters")));
    }
    if text.chars().any(char::is_control) || text != text.trim() {
        return Err(FieldError::new(field, "control characters and blanks at either end are not taken"));
    }
    Ok(())
}

fn time_zone(name: &str) -> Result<(), FieldError> {
    if name.is_empty() || TimeZoneDatabase::bundled().get(name).is_ok() {
        return Ok(());
    }
    let shown: String = name.chars().take(MAX_LABEL).collect();
    Err(FieldError::new(
        "time_zone",
        format!("`{}` is no IANA time zone, e.g. Europe/Lisbon", shown.escape_debug()),
    ))
}
