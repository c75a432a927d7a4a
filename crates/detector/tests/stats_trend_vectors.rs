//! Trends, forecasts and intervals against published worked examples and figures computed with other libraries.

#![allow(clippy::unwrap_used, clippy::expect_used)]

use rimeline_detector::stats::{
    Approach, Interval, garwood, mann_kendall, mann_kendall_prewhitened, rate_exceeds, theil_sen, trend,
    wilson,
};

fn close(found: f64, expected: f64, tolerance: f64) {
    assert!((found - expected).abs() <= tolerance, "found {found}, expected {expected} within {tolerance}");
}

fn relatively_close(found: f64, expected: f64, tolerance: f64) {
    close(found, expected, tolerance * expected.abs());
}

const UNEVEN_DAYS: [f64; 20] = [
    0.0, 1.0, 2.0, 3.0, 5.0, 6.0, 7.0, 8.0, 9.0, 11.0, 12.0, 13.0, 14.0, 15.0, 16.0, 18.0, 19.0, 20.0, 21.0,
    22.0,
];
const RISING: [f64; 20] = [
    10.2, 10.5, 10.1, 10.9, 10.5, 11.4, 10.9, 11.1, 11.8, 11.2, 11.9, 12.1, 11.7, 12.4, 12.2, 12.2, 13.1,
    12.6, 12.9, 13.4,
];

/// Computed with scipy 1.17.1 `theilslopes`, level 0.9, intercept "separate".
#[test]
fn theil_sen_agrees_with_scipy_on_uneven_days_with_ties() {
    let line = theil_sen(&UNEVEN_DAYS, &RISING, 0.9).unwrap();
    close(line.slope, 0.134_523_809_523_809_6, 1e-12);
    close(line.intercept, 10.202_976_190_476_189, 1e-12);
    close(line.low, 0.114_285_714_285_714_13, 1e-12);
    close(line.high, 0.152_631_578_947_368_45, 1e-12);
}

/// A university's hand calculation: 91 pairs, 72 up, 18 down, one tie; S 54, Z 2.9058, Sen slope 0.5667. The rest
/// computed with scipy 1.17.1.
#[test]
fn mann_kendall_and_sen_reproduce_a_hand_calculation() {
    let values = [12.9, 14.8, 13.2, 15.7, 13.8, 15.6, 12.9, 11.0, 17.3, 15.9, 19.0, 18.3, 20.1, 21.7];
    let test = mann_kendall(&values).unwrap();
    close(test.s, 54.0, 0.0);
    close(test.variance, 332.667, 5e-4);
    close(test.z, 2.9058, 5e-5);
    close(test.p, 0.003_663, 5e-7);
    close(test.tau, 0.5934, 5e-5);
    let x: Vec<f64> = (0..14).map(f64::from).collect();
    let line = theil_sen(&x, &values, 0.95).unwrap();
    close(line.slope, 0.5667, 5e-5);
    close(line.intercept, 11.9667, 5e-5);
    close(line.low, 0.3250, 5e-5);
    close(line.high, 0.8667, 5e-5);
}

/// Computed with pymannkendall 1.4.3: `original_test` and `pre_whitening_modification_test`.
#[test]
fn mann_kendall_agrees_with_pymannkendall_with_ties_and_prewhitened() {
    let plain = mann_kendall(&RISING).unwrap();
    close(plain.s, 159.0, 0.0);
    close(plain.variance, 947.0, 1e-9);
    close(plain.z, 5.134_310_123_425_133, 1e-9);
    relatively_close(plain.p, 2.831_808_207_925_945_5e-7, 1e-6);
    close(plain.tau, 0.836_842_105_263_157_9, 1e-12);
    let whitened = mann_kendall_prewhitened(&RISING).unwrap();
    close(whitened.s, 71.0, 0.0);
    close(whitened.variance, 817.0, 1e-9);
    close(whitened.z, 2.448_989_999_894_618_3, 1e-9);
    close(whitened.p, 0.014_325_742_543_108_033, 1e-9);
}

const TREND_DAYS: usize = 21;
const CLIMBING: [f64; TREND_DAYS] = [
    14.1, 14.3, 14.9, 15.0, 14.6, 14.4, 15.1, 15.6, 15.9, 15.7, 15.3, 15.6, 16.3, 16.8, 16.6, 16.4, 16.1,
    16.9, 17.4, 17.8, 17.6,
];

/// Computed with scipy 1.17.1 `theilslopes`, then numpy 2.4.6 for the widening.
#[test]
fn days_to_a_limit_are_forecast_with_widened_slopes() {
    let days: Vec<f64> = (0..TREND_DAYS as u32).map(f64::from).collect();
    let trend = trend(&days, &CLIMBING, 0.9).unwrap();
    close(trend.slope, 0.172_727_272_727_272_76, 1e-12);
    close(trend.autocorrelation, 0.517_887_288_257_184_3, 1e-9);
    close(trend.inflation, 1.774_375_248_452_260_1, 1e-9);
    close(trend.slope_low, 0.122_542_922_265_996_45, 1e-9);
    close(trend.slope_high, 0.211_780_507_860_671_82, 1e-9);
    close(trend.level, 17.427_272_727_272_73, 1e-9);
    let known = trend.time_to_limit_from_known_level(25.0, Approach::FromBelow).unwrap();
    close(known.days.unwrap(), 43.842_105_263_157_876, 1e-9);
    close(known.early, 35.757_432_774_263_1, 1e-9);
    close(known.late.unwrap(), 61.796_529_189_091_91, 1e-9);
    let forecast = trend.time_to_limit(25.0, Approach::FromBelow).unwrap();
    assert_eq!(forecast.days, known.days);
    assert!(forecast.early < known.early && forecast.late > known.late);
}

#[test]
fn a_falling_value_is_forecast_as_its_mirror_image() {
    let days: Vec<f64> = (0..TREND_DAYS as u32).map(f64::from).collect();
    let falling = CLIMBING.map(|v| -v);
    let up = trend(&days, &CLIMBING, 0.9).unwrap().time_to_limit(25.0, Approach::FromBelow).unwrap();
    let down = trend(&days, &falling, 0.9).unwrap().time_to_limit(-25.0, Approach::FromAbove).unwrap();
    close(down.days.unwrap(), up.days.unwrap(), 1e-9);
    close(down.early, up.early, 1e-9);
    close(down.late.unwrap(), up.late.unwrap(), 1e-9);
}

#[test]
fn a_forecast_is_open_ended_when_the_lower_slope_is_not_upward() {
    let days: Vec<f64> = (0..14).map(f64::from).collect();
    let wandering = [10.0, 11.5, 9.8, 11.1, 10.4, 9.6, 11.8, 10.1, 11.6, 10.0, 10.9, 11.9, 9.9, 11.3];
    let trend = trend(&days, &wandering, 0.9).unwrap();
    assert!(trend.slope_low <= 0.0 && trend.slope_high > 0.0);
    let forecast = trend.time_to_limit(25.0, Approach::FromBelow).unwrap();
    assert_eq!(forecast.late, None);
    assert!(forecast.early > 0.0);
}

#[test]
fn a_limit_that_was_passed_is_zero_days_away_and_one_left_behind_is_never_reached() {
    let days: Vec<f64> = (0..TREND_DAYS as u32).map(f64::from).collect();
    let trend = trend(&days, &CLIMBING, 0.9).unwrap();
    let passed = trend.time_to_limit(17.0, Approach::FromBelow).unwrap();
    assert_eq!((passed.days, passed.early, passed.late), (Some(0.0), 0.0, Some(0.0)));
    assert_eq!(trend.time_to_limit(10.0, Approach::FromAbove), None);
}

/// Computed with scipy 1.17.1 `chi2.ppf`. 23 events in 5.25: example printed with R package statpsych's `ci.poisson`.
#[test]
fn poisson_intervals_are_exact() {
    let rows = [
        (0, 0.0, 3.688_879_454_113_935_4),
        (1, 0.025_317_807_984_289_897, 5.571_643_390_938_898),
        (3, 0.618_672_122_895_601_5, 8.767_273_069_742_323),
        (10, 4.795_388_696_132_433_5, 18.390_356_042_017_78),
        (30, 20.240_874_021_420_915, 42.826_865_394_807_66),
        (100, 81.363_991_250_923_15, 121.626_793_792_426_38),
    ];
    for (count, low, high) in rows {
        let interval = garwood(count, 0.95).unwrap();
        close(interval.low, low, 1e-8);
        close(interval.high, high, 1e-8);
    }
    let printed = garwood(23, 0.95).unwrap();
    close(printed.low / 5.25, 2.777_148, 1e-6);
    close(printed.high / 5.25, 6.573_58, 1e-5);
    // With nothing seen, the one-sided 95 % bound is -ln 0.05.
    close(garwood(0, 0.9).unwrap().high, 2.995_732_273_553_989_5, 1e-7);
    assert_eq!(garwood(3, 1.0), None);
}

/// Computed with statsmodels 0.15.0 `proportion_confint`, method "wilson".
#[test]
fn shares_have_wilson_intervals() {
    let rows = [
        (0, 20, 0.0, 0.161_125_158_052_819_4),
        (17, 20, 0.639_581_135_259_243, 0.947_631_254_103_783_3),
        (45, 60, 0.627_679_299_229_521_8, 0.842_234_774_699_433_3),
        (3, 400, 0.002_553_889_195_249_938, 0.021_815_720_724_032_126),
    ];
    for (successes, trials, low, high) in rows {
        let Interval { low: found_low, high: found_high } = wilson(successes, trials, 0.95).unwrap();
        close(found_low, low, 1e-9);
        close(found_high, high, 1e-9);
    }
    assert_eq!(wilson(0, 0, 0.95), None);
    assert_eq!(wilson(3, 2, 0.95), None);
}

/// Computed with scipy 1.17.1 `gamma.sf`.
#[test]
fn a_units_event_rate_is_compared_with_the_fleets() {
    close(rate_exceeds(5, 2.0, 0.5, 1.0, 1.0).unwrap(), 0.873_364_253_227_384_5, 1e-9);
    close(rate_exceeds(0, 2.0, 0.5, 1.0, 1.0).unwrap(), 0.014_305_878_435_429_641, 1e-9);
    assert_eq!(rate_exceeds(1, 1.0, 0.5, 0.0, 1.0), None);
}
