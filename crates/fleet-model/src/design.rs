//! How one unit is built: figures drawn once per unit around its family's.

use crate::chance::Chance;
use crate::saturation::{PressureReference, Refrigerant};
use crate::unit::{Body, LookAlike, Unit};

/// Figures of one unit. Magnitudes are common practice, no source; they serve the simulation only.
#[derive(Clone, Debug)]
pub(crate) struct Design {
    pub(crate) fluid: Refrigerant,
    pub(crate) zero_kpa: f64,
    pub(crate) cut_out_abs_kpa: f64,
    /// Heat through the body, W/K.
    pub(crate) wall_ua: f64,
    /// Air and what follows it at once, J/K.
    pub(crate) air_c: f64,
    /// Inner skin, floor and inner foam, J/K.
    pub(crate) skin_c: f64,
    /// Air to skin with fans on and off, W/K.
    pub(crate) skin_on: f64,
    pub(crate) skin_off: f64,
    /// Open door, W/K.
    pub(crate) door_ua: f64,
    /// Heat of a clear noon through the roof, W.
    pub(crate) roof_w: f64,
    /// Capacity evaporating at -20 and condensing at 40 Cel, high speed, W.
    pub(crate) capacity: f64,
    /// Evaporator air stream at high speed, W/K.
    pub(crate) air_flow: f64,
    /// Evaporator and condenser surface, W/K.
    pub(crate) evaporator_ua: f64,
    pub(crate) condenser_ua: f64,
    /// Condensing temperature below which the condenser is throttled, Cel.
    pub(crate) head_floor: f64,
    /// Thermostat: cooling starts this far above and ends this far below the set point, K.
    pub(crate) band_above: f64,
    pub(crate) band_below: f64,
    pub(crate) least_run_s: f64,
    pub(crate) least_rest_s: f64,
    /// Running time between timed defrosts, s.
    pub(crate) defrost_every_s: f64,
    /// Frost that asks for a defrost, kg.
    pub(crate) frost_demand_kg: f64,
    pub(crate) defrost_limit_s: f64,
    pub(crate) defrost_w: f64,
    pub(crate) coil_c: f64,
    pub(crate) heat_w: f64,
    /// Whether the door switch stops the unit.
    pub(crate) door_stops: bool,
    /// Cooling starts with full displacement; some designs ease in from low speed for this long, s.
    pub(crate) low_speed_first_s: f64,
    pub(crate) low_rpm: f64,
    pub(crate) high_rpm: f64,
    pub(crate) thermostat_coolant: f64,
    pub(crate) oil_per_krpm: f64,
    pub(crate) charge_volt: f64,
    pub(crate) tank_l: f64,
    /// Day-to-day standard deviation of the condenser's and of the evaporator's air side, share.
    pub(crate) condenser_day_sd: f64,
    pub(crate) evaporator_day_sd: f64,
}

impl Design {
    pub(crate) fn new(unit: &Unit, chance: &mut Chance) -> Self {
        let semi = unit.body == Body::SemiTrailer;
        let size = |s: f64, r: f64| if semi { s } else { r };
        // An older generation is a little smaller; members of a family differ by a few percent.
        let generation = if unit.family.ends_with('b') { 0.93 } else { 1.0 };
        let mut about = |mean: f64, spread: f64| mean * (1.0 + spread * chance.normal().clamp(-2.0, 2.0));
        let surface = size(155.0, 82.0);
        let ageing = about(1.2, 0.08);
        let tight = unit.look_alikes.contains(&LookAlike::TightBand);
        let fluid = unit.refrigerant;
        let gauge = unit.pressure_reference;
        let cut_out_gauge = fluid.cut_out_gauge_kpa();
        let cut_out_abs_kpa = cut_out_gauge
            + match gauge {
                PressureReference::VentedGauge => gauge.zero_kpa(unit.altitude_m),
                PressureReference::SealedGauge | PressureReference::Absolute => 101.325,
            };
        Self {
            fluid,
            zero_kpa: gauge.zero_kpa(unit.altitude_m),
            cut_out_abs_kpa,
            wall_ua: surface * 0.38 * ageing,
            air_c: size(85.0, 40.0) * 1_308.0 * 2.2,
            skin_c: surface * about(8_500.0, 0.08),
            skin_on: surface * 11.0,
            skin_off: surface * 3.5,
            // Strip curtains halve what comes through the door of frozen work.
            door_ua: size(2_300.0, 1_500.0) * if unit.service.frozen() { 0.5 } else { 1.0 },
            roof_w: size(900.0, 500.0),
            capacity: about(size(10_500.0, 6_000.0) * generation, 0.03),
            air_flow: about(size(1_750.0, 1_020.0), 0.02),
            evaporator_ua: about(size(3_100.0, 1_800.0), 0.03),
            condenser_ua: about(size(1_450.0, 840.0) * generation, 0.04),
            head_floor: about(18.0, 0.04),
            band_above: if tight { 0.8 } else { about(2.2, 0.06) },
            band_below: if tight { 0.2 } else { 0.4 },
            least_run_s: if tight { 240.0 } else { 600.0 },
            least_rest_s: if tight { 180.0 } else { 420.0 },
            defrost_every_s: about(if unit.service.frozen() { 6.0 } else { 8.0 } * 3_600.0, 0.03),
            frost_demand_kg: about(size(3.2, 2.0), 0.05),
            defrost_limit_s: 1_800.0,
            defrost_w: about(size(6_500.0, 4_000.0), 0.04),
            coil_c: size(62_000.0, 38_000.0),
            heat_w: size(6_000.0, 3_500.0),
            door_stops: chance.happens(0.5),
            low_speed_first_s: 120.0,
            low_rpm: 1_430.0 + 40.0 * chance.unit(),
            high_rpm: 2_080.0 + 60.0 * chance.unit(),
            thermostat_coolant: 82.0 + 3.0 * chance.unit(),
            oil_per_krpm: 140.0 + 20.0 * chance.unit(),
            charge_volt: 14.1 + 0.3 * chance.unit(),
            tank_l: size(230.0, 110.0),
            condenser_day_sd: 0.08,
            evaporator_day_sd: 0.02,
        }
    }
}
