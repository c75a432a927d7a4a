//! What holds for any input.

#![allow(clippy::unwrap_used, clippy::expect_used)]

use proptest::prelude::*;
use rimeline_detector::stats::{
    Approach, Cusum, CusumDesign, CusumPair, Ewma, FlatRun, FlatRunDesign, Hampel, HampelDesign, PullDown,
    flat_runs, garwood, mad_in_place, mann_kendall, median_in_place, theil_sen, trend, wilson,
};

proptest! {
    #[test]
    fn cusum_does_not_depend_on_the_unit_of_measure(
        values in prop::collection::vec(-50.0..50.0_f64, 1..60),
        target in -20.0..20.0_f64,
        sigma in 0.1..5.0_f64,
        scale in 1e-3..1e3_f64,
    ) {
        let design = CusumDesign::new(0.5, 5.0).with_clip(3.0);
        let (mut plain, mut scaled) = (CusumPair::default(), CusumPair::default());
        for (i, x) in values.iter().enumerate() {
            plain.step(&design, 21, (x - target) / sigma, i as i64);
            scaled.step(&design, 21, (x * scale - target * scale) / (sigma * scale), i as i64);
            prop_assert!((plain.up.sum() - scaled.up.sum()).abs() < 1e-9);
            prop_assert!((plain.down.sum() - scaled.down.sum()).abs() < 1e-9);
        }
    }

    #[test]
    fn a_constant_stream_at_its_baseline_never_signals(
        x in -1e6..1e6_f64, sigma in 1e-3..1e3_f64, n in 1_u32..60, length in 1_i64..2_000,
    ) {
        let design = CusumDesign::new(0.25, 0.5).with_guard(1.28);
        let mut pair = CusumPair::default();
        for at in 0..length {
            prop_assert_eq!(pair.step(&design, n, (x - x) / sigma, at), None);
        }
        prop_assert_eq!(pair.up.onset(), None);
    }

    #[test]
    fn the_sum_of_one_day_is_limited_by_the_clip(z in prop::num::f64::ANY, before in 0.0..3.0_f64) {
        let design = CusumDesign::new(1.0, 6.0).with_clip(3.0);
        let mut chart = Cusum::default();
        chart.step(&design, 0, before, 0);
        let sum = chart.sum();
        chart.step(&design, 0, z, 1);
        prop_assert!(chart.sum() >= 0.0 && chart.sum() <= sum + 2.0 + 1e-12);
    }

    #[test]
    fn a_chart_survives_being_written_down_and_read_back(zs in prop::collection::vec(-4.0..4.0_f64, 2..40)) {
        let design = CusumDesign::new(0.5, 5.0);
        let (half, rest) = zs.split_at(zs.len() / 2);
        let mut whole = CusumPair::default();
        for (i, z) in half.iter().enumerate() {
            whole.step(&design, 0, *z, i as i64);
        }
        let bytes = postcard::to_allocvec(&whole).unwrap();
        let mut resumed: CusumPair = postcard::from_bytes(&bytes).unwrap();
        for (i, z) in rest.iter().enumerate() {
            let at = (half.len() + i) as i64;
            prop_assert_eq!(whole.step(&design, 0, *z, at), resumed.step(&design, 0, *z, at));
        }
        prop_assert_eq!(whole, resumed);
    }

    #[test]
    fn the_median_splits_the_values(mut values in prop::collection::vec(-1e3..1e3_f64, 1..50)) {
        let original = values.clone();
        let median = median_in_place(&mut values).unwrap();
        let below = original.iter().filter(|v| **v < median).count();
        let above = original.iter().filter(|v| **v > median).count();
        prop_assert!(2 * below <= original.len() && 2 * above <= original.len());
        let mad = mad_in_place(&mut values, median).unwrap();
        let within = original.iter().filter(|v| (**v - median).abs() <= mad + 1e-9).count();
        prop_assert!(2 * within >= original.len());
    }

    #[test]
    fn a_straight_line_is_found_exactly_whatever_a_few_outliers_do(
        slope in -5.0..5.0_f64, start in -40.0..40.0_f64, outlier in 0_usize..20, by in -1e3..1e3_f64,
    ) {
        let x: Vec<f64> = (0..20).map(f64::from).collect();
        let mut y: Vec<f64> = x.iter().map(|t| start + slope * t).collect();
        let straight = theil_sen(&x, &y, 0.9).unwrap();
        prop_assert!((straight.slope - slope).abs() < 1e-9 && (straight.intercept - start).abs() < 1e-8);
        y[outlier] += by;
        let bent = theil_sen(&x, &y, 0.9).unwrap();
        prop_assert!((bent.slope - slope).abs() < 1e-9, "{} for {slope}", bent.slope);
        prop_assert!(bent.low <= bent.slope && bent.slope <= bent.high);
    }

    #[test]
    fn mann_kendall_turns_its_sign_with_time(mut values in prop::collection::vec(-9_i32..9, 3..40)) {
        let forwards: Vec<f64> = values.iter().map(|v| f64::from(*v)).collect();
        values.reverse();
        let backwards: Vec<f64> = values.iter().map(|v| f64::from(*v)).collect();
        let (there, back) = (mann_kendall(&forwards).unwrap(), mann_kendall(&backwards).unwrap());
        prop_assert_eq!(there.s, -back.s);
        prop_assert!((there.variance - back.variance).abs() < 1e-9 && (there.p - back.p).abs() < 1e-12);
        prop_assert!(there.tau.abs() <= 1.0 && (0.0..=1.0).contains(&there.p));
    }

    #[test]
    fn forecast_ends_enclose_the_forecast(
        values in prop::collection::vec(-30.0..30.0_f64, 4..40), limit in -60.0..60.0_f64, above: bool,
    ) {
        let days: Vec<f64> = (0..values.len() as u32).map(f64::from).collect();
        let trend = trend(&days, &values, 0.9).unwrap();
        prop_assert!(trend.slope_low <= trend.slope && trend.slope <= trend.slope_high);
        prop_assert!((1.0..=3.0 + 1e-9).contains(&trend.inflation) && trend.level_error >= 0.0);
        let approach = if above { Approach::FromAbove } else { Approach::FromBelow };
        if let Some(time) = trend.time_to_limit(limit, approach) {
            prop_assert!(time.early >= 0.0);
            if let Some(days) = time.days {
                prop_assert!(time.early <= days);
                prop_assert!(time.late.is_none_or(|late| late >= days));
            } else {
                prop_assert_eq!(time.late, None);
            }
        }
    }

    #[test]
    fn flat_runs_are_flat_disjoint_and_long_enough(
        values in prop::collection::vec((-2_i32..3, 1_i64..20), 0..80), tolerance in 0_i32..2,
    ) {
        let design = FlatRunDesign {
            tolerance: f64::from(tolerance), least_count: 3, least_ms: 5, longest_gap_ms: 15,
        };
        let mut at = 0;
        let mut times = Vec::new();
        let mut readings = Vec::new();
        for (value, step) in values {
            at += step;
            times.push(at);
            readings.push(f64::from(value));
        }
        let spans = flat_runs(&times, &readings, &design);
        for span in &spans {
            let inside: Vec<usize> = (0..times.len()).filter(|i| times[*i] >= span.from && times[*i] <= span.to).collect();
            prop_assert_eq!(inside.len(), span.count as usize);
            prop_assert!(span.count >= 3 && span.to - span.from >= 5);
            prop_assert!(inside.iter().all(|i| readings[*i] >= span.low && readings[*i] <= span.high));
            prop_assert!(span.high - span.low <= design.tolerance);
            prop_assert!(inside.windows(2).all(|w| times[w[1]] - times[w[0]] <= 15));
        }
        prop_assert!(spans.windows(2).all(|w| w[0].to < w[1].from));
        // With equal values asked for, no long enough stretch is missed.
        if tolerance == 0 {
            for i in 2..times.len() {
                let three = &readings[i - 2..=i];
                let near = times[i] - times[i - 1] <= 15 && times[i - 1] - times[i - 2] <= 15;
                if three[0] == three[1] && three[1] == three[2] && near && times[i] - times[i - 2] >= 5 {
                    prop_assert!(spans.iter().any(|s| s.from <= times[i - 2] && s.to >= times[i]));
                }
            }
        }
    }

    #[test]
    fn an_undisturbed_pull_down_is_recovered_from_unevenly_spaced_readings(
        end in -30.0..0.0_f64, rate in 0.005..0.05_f64, steps in prop::collection::vec(0.5..2.0_f64, 30..90),
    ) {
        let mut sums = PullDown::default();
        let mut minutes = 0.0;
        for step in steps {
            sums.step(minutes, end + (25.0 - end) * f64::exp(-rate * minutes));
            minutes += step;
        }
        let fit = sums.fit().unwrap();
        // A straight line between readings lies above the curve by a little: that is all that is off.
        prop_assert!((fit.rate / rate - 1.0).abs() < 0.01, "rate {} for {rate}", fit.rate);
        prop_assert!((fit.end - end).abs() < 0.4, "end {} for {end}", fit.end);
        let expected = ((25.0 - end) / (5.0 - end)).ln() / rate;
        prop_assert!((fit.minutes_to(5.0).unwrap() / expected - 1.0).abs() < 0.01);
    }

    #[test]
    fn intervals_enclose_what_was_counted(count in 0_u32..500, more in 0_u32..500, level in 0.5..0.999_f64) {
        let poisson = garwood(count, level).unwrap();
        prop_assert!(poisson.low <= f64::from(count) && f64::from(count) <= poisson.high);
        let trials = count + more + 1;
        let share = wilson(count, trials, level).unwrap();
        let seen = f64::from(count) / f64::from(trials);
        prop_assert!(share.low <= seen + 1e-12 && seen <= share.high + 1e-12 && share.low >= 0.0 && share.high <= 1.0);
    }

    #[test]
    fn values_that_are_no_numbers_change_nothing(
        x in prop::sample::select(vec![f64::NAN, f64::INFINITY, f64::NEG_INFINITY]),
    ) {
        let mut average = Ewma::starting_at(3.0);
        prop_assert_eq!(average.step(0.3, x), Some(3.0));
        let mut filter = Hampel::default();
        prop_assert_eq!(filter.step(&HampelDesign { kappa: 4.0, floor: 0.1 }, x), None);
        prop_assert_eq!(filter, Hampel::default());
        let design = FlatRunDesign { tolerance: 0.0, least_count: 1, least_ms: 0, longest_gap_ms: 1 };
        let mut run = FlatRun::default();
        prop_assert_eq!(run.step(&design, 0, x), None);
        prop_assert_eq!(run.latest(), None);
        let mut sums = PullDown::default();
        sums.step(0.0, x);
        prop_assert_eq!(sums.count(), 0);
        prop_assert_eq!(median_in_place(&mut [1.0, x]), None);
        prop_assert!(theil_sen(&[0.0, 1.0, 2.0], &[1.0, x, 2.0], 0.9).is_none());
    }
}

#[test]
fn a_rise_that_does_not_level_off_has_no_end() {
    let mut rising = PullDown::default();
    let mut straight = PullDown::default();
    for i in 0..20 {
        let minutes = f64::from(i);
        rising.step(minutes, 5.0 + (0.05 * minutes).exp());
        straight.step(minutes, 20.0 - minutes);
    }
    assert_eq!(rising.fit(), None);
    // A straight fall may level off very far down, or nowhere; it must not be taken for one that ends above 0.
    assert!(straight.fit().is_none_or(|fit| fit.end < 0.0));
}
