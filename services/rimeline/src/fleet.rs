//! The simulated fleet in the words of the contract.

use rimeline_channels::RunningMode;
use rimeline_fleet_model::{Body, CargoClass, Load, PressureReference, Refrigerant, Unit};
use rimeline_wire::pb;

pub(crate) fn description(unit: &Unit) -> pb::UnitDescription {
    pb::UnitDescription {
        unit: unit.id.to_string(),
        body: match unit.body {
            Body::SemiTrailer => pb::Body::SemiTrailer.into(),
            Body::RigidBody => pb::Body::Rigid.into(),
        },
        refrigerant: match unit.refrigerant {
            Refrigerant::R134a => pb::Refrigerant::R134a.into(),
            Refrigerant::R404A => pb::Refrigerant::R404a.into(),
            Refrigerant::R449A => pb::Refrigerant::R449a.into(),
            Refrigerant::R452A => pb::Refrigerant::R452a.into(),
        },
        pressure_reference: match unit.pressure_reference {
            PressureReference::VentedGauge => pb::PressureReference::VentedGauge.into(),
            PressureReference::SealedGauge => pb::PressureReference::SealedGauge.into(),
            PressureReference::Absolute => pb::PressureReference::Absolute.into(),
        },
        altitude_m: Some(unit.altitude_m),
        fitted: unit.fitted.iter().map(|channel| channel.number()).collect(),
        drives: unit.drives.iter().map(|drive| *drive as i32).collect(),
        depot: unit.depot.clone(),
        time_zone: unit.time_zone.clone(),
        family: unit.family.clone(),
        high_pressure_cut_out_kpa: Some(unit.cut_out_kpa),
        cadence_s: unit.cadence_s,
    }
}

pub(crate) fn load(load: &Load) -> pb::Load {
    pb::Load {
        load: load.id.to_string(),
        unit: load.unit.to_string(),
        from_ms: load.from,
        until_ms: load.until,
        cargo_class: match load.cargo {
            CargoClass::Empty => pb::CargoClass::Empty.into(),
            CargoClass::Frozen => pb::CargoClass::Frozen.into(),
            CargoClass::Chilled => pb::CargoClass::Chilled.into(),
            CargoClass::FreshProduce => pb::CargoClass::FreshProduce.into(),
            CargoClass::Pharma => pb::CargoClass::Pharma.into(),
        },
        set_point_cel: load.set_point,
        band_below_k: load.band_below,
        band_above_k: load.band_above,
        required_running_mode: load.running_mode.unwrap_or(RunningMode::Unknown) as i32,
    }
}
