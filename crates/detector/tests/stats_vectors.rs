//! Charts, filters and sums against published worked examples and figures computed with other libraries.

#![allow(clippy::unwrap_used, clippy::expect_used)]

use rimeline_detector::stats::{
    Cusum, CusumDesign, CusumPair, Ewma, EwmaChart, Hampel, HampelDesign, PullDown, Side,
    expected_observed_starts, siegmund_arl,
};

fn close(found: f64, expected: f64, tolerance: f64) {
    assert!((found - expected).abs() <= tolerance, "found {found}, expected {expected} within {tolerance}");
}

fn relatively_close(found: f64, expected: f64, tolerance: f64) {
    close(found, expected, tolerance * expected.abs());
}

/// Montgomery, Applied Statistics and Probability for Engineers, example 16-6: target 99, K 1, H 10; sums as printed.
#[test]
fn cusum_reproduces_a_textbook_table_without_a_signal() {
    let data = [
        102.0, 94.8, 98.3, 98.4, 102.0, 98.5, 99.0, 97.7, 100.0, 98.1, 101.3, 98.7, 101.1, 98.4, 97.0, 96.7,
        100.3, 101.4, 97.2, 101.0,
    ];
    let upper =
        [2.0, 0.0, 0.0, 0.0, 2.0, 0.5, 0.0, 0.0, 0.0, 0.0, 1.3, 0.0, 1.1, 0.0, 0.0, 0.0, 0.3, 1.7, 0.0, 1.0];
    let lower =
        [0.0, 3.2, 2.9, 2.5, 0.0, 0.0, 0.0, 0.3, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0, 2.3, 0.0, 0.0, 0.8, 0.0];
    let design = CusumDesign::new(1.0, 10.0);
    let mut pair = CusumPair::default();
    for (i, x) in data.iter().enumerate() {
        assert_eq!(pair.step(&design, 0, x - 99.0, i as i64), None);
        close(pair.up.sum(), upper[i], 1e-9);
        close(pair.down.sum(), lower[i], 1e-9);
    }
}

/// Data set of the NIST/SEMATECH e-Handbook 6.3.2.3, recalled and not read there; sums computed with numpy 2.4.6.
#[test]
fn cusum_finds_a_step_and_where_it_began() {
    let data = [
        324.925, 324.675, 324.725, 324.35, 325.35, 325.225, 324.125, 324.525, 325.225, 324.6, 324.625,
        325.15, 328.325, 327.25, 327.825, 328.5, 326.675, 327.775, 326.875, 328.35,
    ];
    let design = CusumDesign::new(0.3175, 4.1959);
    let mut pair = CusumPair::default();
    let mut sums = Vec::new();
    let mut first = None;
    for (i, x) in data.iter().enumerate() {
        let side = pair.step(&design, 0, x - 325.0, i as i64);
        if let (Some(side), None) = (side, first) {
            first = Some((i, side, pair.up.onset()));
        }
        assert!(pair.down.sum() <= 0.7151);
        sums.push(pair.up.sum());
    }
    assert_eq!(first, Some((13, Side::Up, Some(12))));
    for (i, expected) in [(4, 0.0325), (12, 3.0075), (13, 4.94), (14, 7.4475), (19, 19.035)] {
        close(sums[i], expected, 1e-9);
    }
}

/// Exact average run lengths by integral equation (R package spc 0.6.7); Siegmund's approximation beside them, with
/// how far it is off.
#[test]
fn siegmund_is_near_the_exact_run_length() {
    let rows = [
        (0.5, 4.0, 0.0, 338.093_167_156_557_97, 335.367_577_627),
        (0.5, 5.0, 0.0, 938.222_364_116_394_9, 930.887_012_064),
        (0.5, 5.0, 1.0, 10.336_199_235_393_469, 10.375_975_300_2),
        (0.75, 6.0, 0.0, 41_397.042_428_724_73, 40_403.615_106_4),
        (1.0, 5.0, 0.0, 113_413.311_074_648_7, 107_243.429_54),
        (1.0, 5.0, 1.0, 38.019_556, 38.009_609_921_9),
    ];
    for (k, h, shift, approximate, exact) in rows {
        relatively_close(siegmund_arl(k, h, shift), approximate, 1e-9);
        relatively_close(siegmund_arl(k, h, shift), exact, 0.06);
    }
    // Close to d = 0 the formula is a difference of nearly equal numbers; it must run into its limit b^2.
    relatively_close(siegmund_arl(0.5, 5.0, 0.500_001), 6.166 * 6.166, 1e-5);
}

/// NIST/SEMATECH e-Handbook 6.3.2.4: levels as printed, to two places; its limits carry a factor rounded to 0.4201.
#[test]
fn ewma_reproduces_the_handbook_example() {
    let data = [
        52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6,
        52.4, 53.6, 52.1,
    ];
    let printed = [
        50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05,
        49.38, 49.92, 50.73, 51.23, 51.94, 51.99,
    ];
    let chart = EwmaChart { target: 50.0, sigma: 2.0539, lambda: 0.3, width: 3.0 };
    let mut average = Ewma::starting_at(chart.target);
    for (x, expected) in data.iter().zip(printed) {
        let level = average.step(chart.lambda, *x).unwrap();
        close(level, expected, 0.005_001);
        assert!(!chart.signals(level));
    }
    close(chart.target + chart.steady_half_width(), 52.5884, 1e-3);
    close(chart.target - chart.steady_half_width(), 47.4115, 1e-3);
    // Time-varying half-widths, computed with numpy 2.4.6.
    close(chart.half_width(1), 1.84851, 1e-9);
    close(chart.half_width(2), 2.256_394_012_123_990_5, 1e-9);
    close(chart.half_width(20), 2.588_430_911_412_438, 1e-6);
}

/// Computed by hand: median and 1.4826 MAD of the last seven, floor 0.1, kappa 4.
#[test]
fn hampel_marks_single_spikes_and_leaves_the_rest() {
    let data = [5.0, 5.1, 5.0, 5.2, 5.1, 9.8, 5.2, 5.1, 5.3, 5.2, 5.2, -3.0, 5.3, 5.4, 5.3, 5.5];
    let design = HampelDesign { kappa: 4.0, floor: 0.1 };
    let mut filter = Hampel::default();
    let odd: Vec<usize> = data
        .iter()
        .enumerate()
        .filter_map(|(i, x)| filter.step(&design, *x).is_some_and(|n| n.odd).then_some(i))
        .collect();
    assert_eq!(odd, [5, 11]);
}

/// Truth: from 24 towards -6 Cel at 0.025 1/min with noise. Coefficients computed with numpy 2.4.6 `lstsq`; scipy's
/// iterated `curve_fit` gives 48.25 min and an end of -5.81 with standard error 0.56.
#[test]
fn pull_down_is_fitted_from_running_sums() {
    let values = [24.0, 20.57, 17.26, 14.67, 12.05, 10.16, 8.17, 6.46, 5.14, 3.69];
    let mut sums = PullDown::default();
    for (i, value) in values.iter().enumerate() {
        sums.step(5.0 * i as f64, *value);
    }
    let fit = sums.fit().unwrap();
    close(fit.start, 24.022_301_601_547_177, 1e-9);
    close(fit.end, -5.810_686_403_508_722, 1e-8);
    close(fit.rate, 0.025_240_485_111_642_598, 1e-11);
    close(fit.minutes_to(3.0).unwrap(), 48.321_155_759_323_02, 1e-6);
    assert_eq!(fit.minutes_to(-7.0), None);
    assert_eq!(fit.minutes_to(30.0), Some(0.0));
    close(sums.fall(), 20.31, 1e-9);
    close(fit.end_error, 0.550_877_657_834_333_3, 1e-8);
    // One-sided 90 % of Student's t with 7 degrees of freedom: 1.415 in printed tables.
    close(fit.end_at_least(0.9).unwrap(), fit.end - 1.414_923_927_650_508_6 * fit.end_error, 1e-6);
}

/// Closed form, confirmed by simulation of random on and off periods.
#[test]
fn slow_sampling_hides_starts() {
    let rows = [
        (1.0, 6.0, 0.5, 4.945_199_309_465_41),
        (5.0, 6.0, 0.5, 2.593_994_150_290_162),
        (15.0, 2.0, 0.5, 0.864_664_716_763_387_3),
        (15.0, 6.0, 0.5, 0.997_521_247_823_333_6),
        (15.0, 12.0, 0.25, 0.749_999_915_598_619),
    ];
    for (interval, starts, duty, expected) in rows {
        close(expected_observed_starts(interval, starts, duty).unwrap(), expected, 1e-12);
    }
    for (interval, starts, duty) in [(0.0, 6.0, 0.5), (5.0, 0.0, 0.5), (5.0, 6.0, 0.0), (5.0, 6.0, 1.0)] {
        assert_eq!(expected_observed_starts(interval, starts, duty), None);
    }
}

#[test]
fn a_value_at_the_limit_does_not_signal() {
    let design = CusumDesign::new(0.5, 4.0);
    let mut chart = Cusum::default();
    // 1.5 - 0.5 four times: exactly 4 in binary.
    for i in 0..4 {
        assert!(!chart.step(&design, 0, 1.5, i));
    }
    assert_eq!((chart.sum(), chart.strength(&design)), (4.0, 1.0));
    assert!(chart.step(&design, 0, 0.500_000_1, 4));
    assert_eq!(chart.onset(), Some(0));
}

#[test]
fn a_short_baseline_needs_more_evidence_and_one_odd_day_is_limited() {
    let design = CusumDesign::new(1.0, 6.0).with_guard(1.28).with_clip(3.0);
    close(design.slack(16), 1.32, 1e-12);
    close(design.slack(0), 1.0, 0.0);
    let mut chart = Cusum::default();
    assert!(!chart.step(&design, 16, 1e9, 0));
    close(chart.sum(), 3.0 - 1.32, 1e-12);
    assert!(!chart.step(&design, 16, f64::NAN, 1));
    close(chart.sum(), 3.0 - 1.32, 1e-12);
}
