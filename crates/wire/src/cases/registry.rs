use rimeline_casebook::{
    Body, CargoClass, FieldError, Load, UnitDescription, validate_description, validate_load,
};
use rimeline_channels::{Channel, Drive, Id, RunningMode};
use rimeline_refrigerant::{PressureReference, Refrigerant};

use crate::pb;

const REFRIGERANTS: [(pb::Refrigerant, Refrigerant); 7] = [
    (pb::Refrigerant::R134a, Refrigerant::R134a),
    (pb::Refrigerant::R404a, Refrigerant::R404A),
    (pb::Refrigerant::R410a, Refrigerant::R410A),
    (pb::Refrigerant::R448a, Refrigerant::R448A),
    (pb::Refrigerant::R449a, Refrigerant::R449A),
    (pb::Refrigerant::R452a, Refrigerant::R452A),
    (pb::Refrigerant::R744, Refrigerant::R744),
];

const REFERENCES: [(pb::PressureReference, PressureReference); 3] = [
    (pb::PressureReference::VentedGauge, PressureReference::VentedGauge),
    (pb::PressureReference::SealedGauge, PressureReference::SealedGauge),
    (pb::PressureReference::Absolute, PressureReference::Absolute),
];

/// The contract's number of a value; 0 for none.
fn number<P: Into<i32> + Copy, D: PartialEq>(table: &[(P, D)], value: Option<&D>) -> i32 {
    table.iter().find(|row| Some(&row.1) == value).map_or(0, |row| row.0.into())
}

/// The value with the contract's number; `None` for 0.
fn value<P: Into<i32> + Copy, D: Copy>(
    table: &[(P, D)],
    number: i32,
    field: &'static str,
) -> Result<Option<D>, FieldError> {
    match table.iter().find(|row| row.0.into() == number) {
        Some(row) => Ok(Some(row.1)),
        None if number == 0 => Ok(None),
        None => Err(FieldError::new(field, format!("{number} is not in the contract"))),
    }
}

fn id(text: &str, field: &'static str) -> Result<Id, FieldError> {
    Id::new(text).map_err(|error| FieldError::new(field, error.to_string()))
}

/// Reads and checks a unit's description.
pub fn description(unit: &pb::UnitDescription) -> Result<UnitDescription, FieldError> {
    let channel = |number: &i32| {
        Channel::from_number(*number)
            .ok_or_else(|| FieldError::new("fitted", format!("{number} is no channel")))
    };
    let drive =
        |number: &i32| Drive::from_number(*number).map_err(|e| FieldError::new("drives", e.to_string()));
    let description = UnitDescription {
        unit: id(&unit.unit, "unit")?,
        body: Body::from_number(unit.body)
            .ok_or_else(|| FieldError::new("body", format!("{} is no body", unit.body)))?,
        refrigerant: value(&REFRIGERANTS, unit.refrigerant, "refrigerant")?,
        pressure_reference: value(&REFERENCES, unit.pressure_reference, "pressure_reference")?,
        altitude_m: unit.altitude_m,
        fitted: unit.fitted.iter().map(channel).collect::<Result<_, _>>()?,
        drives: unit.drives.iter().map(drive).collect::<Result<_, _>>()?,
        depot: unit.depot.clone(),
        time_zone: unit.time_zone.clone(),
        family: unit.family.clone(),
        high_pressure_cut_out_kpa: unit.high_pressure_cut_out_kpa,
        cadence_s: (unit.cadence_s != 0).then_some(unit.cadence_s),
    };
    validate_description(&description)?;
    Ok(description)
}

/// A unit's description for people.
pub fn description_out(unit: &UnitDescription) -> pb::UnitDescription {
    pb::UnitDescription {
        unit: unit.unit.to_string(),
        body: unit.body.number(),
        refrigerant: number(&REFRIGERANTS, unit.refrigerant.as_ref()),
        pressure_reference: number(&REFERENCES, unit.pressure_reference.as_ref()),
        altitude_m: unit.altitude_m,
        fitted: unit.fitted.iter().map(|channel| channel.number()).collect(),
        drives: unit.drives.iter().map(|drive| *drive as i32).collect(),
        depot: unit.depot.clone(),
        time_zone: unit.time_zone.clone(),
        family: unit.family.clone(),
        high_pressure_cut_out_kpa: unit.high_pressure_cut_out_kpa,
        cadence_s: unit.cadence_s.unwrap_or(0),
    }
}

/// Reads and checks a load.
pub fn load(load: &pb::Load) -> Result<Load, FieldError> {
    let checked = Load {
        load: id(&load.load, "load")?,
        unit: id(&load.unit, "unit")?,
        from: load.from_ms,
        until: (load.until_ms != 0).then_some(load.until_ms),
        cargo_class: CargoClass::from_number(load.cargo_class).ok_or_else(|| {
            FieldError::new("cargo_class", format!("{} is no cargo class", load.cargo_class))
        })?,
        set_point: load.set_point_cel,
        band_below: load.band_below_k,
        band_above: load.band_above_k,
        required_running_mode: RunningMode::from_number(load.required_running_mode)
            .map_err(|error| FieldError::new("required_running_mode", error.to_string()))?,
    };
    validate_load(&checked)?;
    Ok(checked)
}

/// A load for people.
pub fn load_out(load: &Load) -> pb::Load {
    pb::Load {
        load: load.load.to_string(),
        unit: load.unit.to_string(),
        from_ms: load.from,
        until_ms: load.until.unwrap_or(0),
        cargo_class: load.cargo_class.number(),
        set_point_cel: load.set_point,
        band_below_k: load.band_below,
        band_above_k: load.band_above,
        required_running_mode: load.required_running_mode as i32,
    }
}

/// The channel catalogue.
pub fn channel_infos() -> Vec<pb::ChannelInfo> {
    let one = |channel: &Channel| {
        let spec = channel.spec();
        pb::ChannelInfo {
            channel: channel.number(),
            name: spec.name.to_owned(),
            unit_of_measure: spec.measure.code().to_owned(),
            decimals: u32::from(spec.decimals),
            span_low: spec.span.0,
            span_high: spec.span.1,
            spn: spec.spn.map_or(0, u32::from),
        }
    };
    Channel::ALL.iter().map(one).collect()
}
