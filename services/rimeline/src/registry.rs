//! What a mapping says of units and loads, in the words of the contract.

use anyhow::{Context, Result, anyhow};
use rimeline_channels::{Channel, Id};
use rimeline_mapping::{Load, UnitDescription};
use rimeline_wire::pb;

use crate::show;

/// The number of a word of the contract; 0 where nothing is said.
fn number<E: Into<i32>>(
    field: &str,
    word: Option<&str>,
    prefix: &str,
    find: impl Fn(&str) -> Option<E>,
) -> Result<i32> {
    let Some(word) = word else { return Ok(0) };
    let name = format!("{prefix}{}", word.to_uppercase().replace('-', ""));
    let found = find(&name).with_context(|| format!("{field}: the contract has no `{word}`"))?;
    Ok(found.into())
}

/// A unit's description as the mapping gives it.
pub(crate) fn description(unit: &Id, said: &UnitDescription) -> Result<pb::UnitDescription> {
    let channel = |name: &String| Ok(Channel::from_name(name)?.number());
    let drive = |word: &String| number("drives", Some(word), "DRIVE_", pb::Drive::from_str_name);
    let described = || -> Result<_> {
        Ok(pb::UnitDescription {
            unit: unit.to_string(),
            body: number("body", said.body.as_deref(), "BODY_", pb::Body::from_str_name)?,
            refrigerant: number(
                "refrigerant",
                said.refrigerant.as_deref(),
                "REFRIGERANT_",
                pb::Refrigerant::from_str_name,
            )?,
            pressure_reference: number(
                "pressure_reference",
                said.pressure_reference.as_deref(),
                "PRESSURE_REFERENCE_",
                pb::PressureReference::from_str_name,
            )?,
            altitude_m: said.altitude_m,
            fitted: said.fitted.iter().flatten().map(channel).collect::<Result<_>>()?,
            drives: said.drives.iter().flatten().map(drive).collect::<Result<_>>()?,
            depot: said.depot.clone().unwrap_or_default(),
            time_zone: said.time_zone.clone().unwrap_or_default(),
            family: said.family.clone().unwrap_or_default(),
            high_pressure_cut_out_kpa: said.high_pressure_cut_out_kpa,
            cadence_s: said.cadence_s.unwrap_or(0),
        })
    };
    described().with_context(|| format!("the mapping's description of {unit} cannot be used"))
}

/// A unit's load as the mapping gives it.
pub(crate) fn load(unit: &Id, said: &Load) -> Result<pb::Load> {
    let needed = |field: &str, value: Option<f64>| value.ok_or_else(|| anyhow!("{field}: a load needs it"));
    let stated = || -> Result<_> {
        Ok(pb::Load {
            load: said.load.clone().unwrap_or_else(|| format!("{unit}-load")),
            unit: unit.to_string(),
            from_ms: show::parse_time(said.from.as_deref().context("from: a load needs it")?)?,
            until_ms: said.until.as_deref().map_or(Ok(0), show::parse_time)?,
            cargo_class: number(
                "cargo_class",
                said.cargo_class.as_deref(),
                "CARGO_CLASS_",
                pb::CargoClass::from_str_name,
            )?,
            set_point_cel: needed("set_point_cel", said.set_point_cel)?,
            band_below_k: needed("band_below_k", said.band_below_k)?,
            band_above_k: needed("band_above_k", said.band_above_k)?,
            required_running_mode: number(
                "required_running_mode",
                said.required_running_mode.as_deref(),
                "RUNNING_MODE_",
                pb::RunningMode::from_str_name,
            )?,
        })
    };
    stated().with_context(|| format!("the mapping's load of {unit} cannot be used"))
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn words_of_a_mapping_become_words_of_the_contract() {
        let said = UnitDescription {
            refrigerant: Some("R-452A".into()),
            pressure_reference: Some("vented_gauge".into()),
            fitted: Some(vec!["coil".into()]),
            ..UnitDescription::default()
        };
        let described = description(&Id::new("U").unwrap(), &said).unwrap();
        assert_eq!(described.refrigerant(), pb::Refrigerant::R452a);
        assert_eq!(described.pressure_reference(), pb::PressureReference::VentedGauge);
    }

    #[test]
    fn a_word_the_contract_does_not_have_is_named_with_its_field() {
        let said = UnitDescription { refrigerant: Some("R-12".into()), ..UnitDescription::default() };
        let error = format!("{:#}", description(&Id::new("U").unwrap(), &said).unwrap_err());
        assert!(error.contains("refrigerant: the contract has no `R-12`"), "{error}");
    }
}
