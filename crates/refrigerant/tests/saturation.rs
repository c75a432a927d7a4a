//! Saturation against CoolProp's figures, and what holds for any input.

#![allow(clippy::unwrap_used, clippy::expect_used)]

use proptest::prelude::*;
use rimeline_refrigerant::{
    Circuit, PressureReference, Refrigerant, Side, ambient_kpa, condensing_temperature, from_absolute_kpa,
    glide, saturation_pressure, saturation_temperature, to_absolute_kpa,
};

fn close(found: Option<f64>, expected: f64, tolerance: f64) {
    let found = found.unwrap();
    assert!((found - expected).abs() <= tolerance, "found {found}, expected {expected} within {tolerance}");
}

/// Solved directly with CoolProp 8.0.0, kPa absolute to Cel.
#[test]
fn temperatures_between_rows_agree_with_a_direct_solution() {
    use Refrigerant::{R134a, R404A, R449A, R452A, R744};
    for (refrigerant, side, kpa, expected) in [
        (R404A, Side::Bubble, 1_800.0, 39.32),
        (R404A, Side::Dew, 200.0, -30.27),
        (R452A, Side::Bubble, 1_800.0, 37.70),
        (R452A, Side::Dew, 1_800.0, 41.35),
        (R452A, Side::Dew, 200.0, -27.73),
        (R134a, Side::Dew, 1_000.0, 39.39),
        (R449A, Side::Dew, 400.0, -7.01),
        (R744, Side::Bubble, 2_500.0, -12.01),
    ] {
        close(saturation_temperature(refrigerant, kpa, side), expected, 0.02);
    }
}

/// Computed with CoolProp 8.0.0: gauge pressures in bar at sea level to dew and bubble, Cel.
#[test]
fn gauge_readings_at_sea_level_agree_with_coolprop() {
    for (refrigerant, bar, dew, bubble) in [
        (Refrigerant::R134a, 0.5, -16.923, -16.923),
        (Refrigerant::R134a, 10.0, 43.015, 43.015),
        (Refrigerant::R134a, 25.0, 79.429, 79.429),
        (Refrigerant::R404A, 0.5, -36.784, -37.481),
        (Refrigerant::R404A, 10.0, 20.565, 20.139),
        (Refrigerant::R404A, 20.0, 46.165, 45.864),
        (Refrigerant::R404A, 25.0, 55.527, 55.277),
    ] {
        let circuit = Circuit::new(refrigerant, PressureReference::VentedGauge, 0.0).unwrap();
        close(circuit.saturation_temperature(bar * 100.0, Side::Dew), dew, 0.02);
        close(circuit.saturation_temperature(bar * 100.0, Side::Bubble), bubble, 0.02);
        close(circuit.evaporating_temperature(bar * 100.0), dew, 0.02);
        close(circuit.condensing_temperature(bar * 100.0), f64::midpoint(dew, bubble), 0.02);
    }
}

/// Computed with CoolProp 8.0.0 after adding the standard atmosphere.
#[test]
fn altitude_moves_the_low_side_most() {
    for (altitude, reading, expected) in
        [(0.0, 60.0, -35.32), (1_500.0, 60.0, -37.81), (0.0, 1_700.0, 39.69), (1_500.0, 1_700.0, 39.30)]
    {
        let circuit = Circuit::new(Refrigerant::R404A, PressureReference::VentedGauge, altitude).unwrap();
        close(circuit.saturation_temperature(reading, Side::Dew), expected, 0.02);
    }
    // A sealed gauge does not notice where it is.
    let low = Circuit::new(Refrigerant::R404A, PressureReference::SealedGauge, 0.0);
    assert_eq!(low, Circuit::new(Refrigerant::R404A, PressureReference::SealedGauge, 3_000.0));
}

/// U.S. Standard Atmosphere, 1976 (same as ISO 2533), pressure by geopotential altitude.
#[test]
fn the_standard_atmosphere_thins_with_altitude() {
    for (altitude, kpa) in
        [(0.0, 101.325), (500.0, 95.461), (1_500.0, 84.556), (3_000.0, 70.109), (11_000.0, 22.632)]
    {
        close(ambient_kpa(altitude), kpa, 0.002);
    }
    for altitude in [-1_001.0, 11_001.0, f64::NAN] {
        assert_eq!(ambient_kpa(altitude), None);
        assert_eq!(to_absolute_kpa(500.0, PressureReference::VentedGauge, altitude), None);
        assert_eq!(Circuit::new(Refrigerant::R404A, PressureReference::VentedGauge, altitude), None);
        assert_eq!(to_absolute_kpa(500.0, PressureReference::Absolute, altitude), Some(500.0));
    }
}

#[test]
fn references_differ_by_what_they_call_zero() {
    close(to_absolute_kpa(100.0, PressureReference::VentedGauge, 1_500.0), 184.556, 0.001);
    close(to_absolute_kpa(100.0, PressureReference::SealedGauge, 1_500.0), 201.325, 1e-9);
    close(to_absolute_kpa(100.0, PressureReference::Absolute, 1_500.0), 100.0, 1e-9);
    assert_eq!(to_absolute_kpa(-101.325, PressureReference::SealedGauge, 0.0), None);
    assert_eq!(to_absolute_kpa(f64::INFINITY, PressureReference::Absolute, 0.0), None);
    assert_eq!(from_absolute_kpa(0.0, PressureReference::Absolute, 0.0), None);
}

#[test]
fn outside_the_table_there_is_no_value() {
    for refrigerant in Refrigerant::ALL {
        for side in [Side::Bubble, Side::Dew] {
            for kpa in [0.0, -5.0, 1.0, 8_000.0, f64::NAN, f64::INFINITY] {
                assert_eq!(saturation_temperature(refrigerant, kpa, side), None, "{refrigerant} {kpa}");
            }
            for t in [-61.0, 96.0, -300.0, f64::NAN] {
                assert_eq!(saturation_pressure(refrigerant, t, side), None, "{refrigerant} {t}");
            }
            // Both ends of the table belong to it.
            assert!(saturation_pressure(refrigerant, -55.0, side).is_some());
        }
    }
    assert!(saturation_pressure(Refrigerant::R404A, 70.0, Side::Dew).is_some());
    assert_eq!(saturation_pressure(Refrigerant::R404A, 70.001, Side::Dew), None);
}

/// Critical point of carbon dioxide: 30.978 Cel, 7,377.3 kPa (Span and Wagner 1996).
#[test]
fn carbon_dioxide_has_no_saturation_above_its_critical_point() {
    assert!(saturation_temperature(Refrigerant::R744, 7_377.0, Side::Bubble).is_some());
    assert_eq!(saturation_temperature(Refrigerant::R744, 7_378.0, Side::Bubble), None);
    assert_eq!(condensing_temperature(Refrigerant::R744, 9_000.0), None);
    assert!(saturation_pressure(Refrigerant::R744, 30.97, Side::Dew).is_some());
    assert_eq!(saturation_pressure(Refrigerant::R744, 31.0, Side::Dew), None);
}

/// Computed with CoolProp 8.0.0, K at 400 and 1,800 kPa absolute.
#[test]
fn blends_glide_and_pure_fluids_do_not() {
    for (refrigerant, low, high) in [
        (Refrigerant::R404A, 0.57, 0.34),
        (Refrigerant::R452A, 4.20, 3.65),
        (Refrigerant::R410A, 0.09, 0.12),
        (Refrigerant::R448A, 6.18, 5.05),
        (Refrigerant::R449A, 5.75, 4.71),
        (Refrigerant::R134a, 0.0, 0.0),
    ] {
        close(glide(refrigerant, 400.0), low, 0.02);
        close(glide(refrigerant, 1_800.0), high, 0.02);
    }
}

#[test]
fn designations_are_read_as_people_write_them() {
    for refrigerant in Refrigerant::ALL {
        assert_eq!(Refrigerant::from_designation(refrigerant.designation()), Some(refrigerant));
    }
    assert_eq!(Refrigerant::from_designation("r404a"), Some(Refrigerant::R404A));
    assert_eq!(Refrigerant::from_designation("R134A"), Some(Refrigerant::R134a));
    for unknown in ["R-22", "", "404A", "R-404A "] {
        assert_eq!(Refrigerant::from_designation(unknown), None);
    }
}

fn any_refrigerant() -> impl Strategy<Value = Refrigerant> {
    prop::sample::select(Refrigerant::ALL.to_vec())
}

fn any_side() -> impl Strategy<Value = Side> {
    prop::sample::select(vec![Side::Bubble, Side::Dew])
}

proptest! {
    #[test]
    fn temperature_and_pressure_are_inverse(refrigerant in any_refrigerant(), side in any_side(), t in -55.0..30.9_f64) {
        let kpa = saturation_pressure(refrigerant, t, side).unwrap();
        let back = saturation_temperature(refrigerant, kpa, side).unwrap();
        prop_assert!((back - t).abs() < 1e-9, "{t} became {back}");
    }

    #[test]
    fn temperature_rises_with_pressure_and_dew_is_not_below_bubble(
        refrigerant in any_refrigerant(), side in any_side(), kpa in 560.0..3_300.0_f64, more in 0.1..100.0_f64,
    ) {
        let t = saturation_temperature(refrigerant, kpa, side).unwrap();
        if let Some(higher) = saturation_temperature(refrigerant, kpa + more, side) {
            prop_assert!(higher > t);
        }
        prop_assert!(glide(refrigerant, kpa).unwrap() >= 0.0);
    }

    #[test]
    fn references_are_inverse(kpa in 0.1..9_000.0_f64, altitude in -400.0..5_000.0_f64) {
        for reference in [PressureReference::VentedGauge, PressureReference::SealedGauge, PressureReference::Absolute] {
            let reading = from_absolute_kpa(kpa, reference, altitude).unwrap();
            let back = to_absolute_kpa(reading, reference, altitude).unwrap();
            prop_assert!((back - kpa).abs() < 1e-9);
        }
    }
}
