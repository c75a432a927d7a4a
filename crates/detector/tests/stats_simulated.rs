//! Rates the statistics claim, counted in simulation.

#![allow(clippy::unwrap_used, clippy::expect_used)]

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Exp, StandardNormal};
use rimeline_detector::stats::{
    Approach, Cusum, CusumDesign, expected_observed_starts, mann_kendall, mann_kendall_prewhitened,
    theil_sen, trend,
};

fn normal(rng: &mut ChaCha8Rng) -> f64 {
    StandardNormal.sample(rng)
}

/// Values of standard deviation 1 that resemble the one before with lag-1 correlation `r`.
fn correlated(rng: &mut ChaCha8Rng, n: usize, r: f64) -> Vec<f64> {
    let mut value = normal(rng);
    (0..n)
        .map(|_| {
            let now = value;
            value = r * value + (1.0 - r * r).sqrt() * normal(rng);
            now
        })
        .collect()
}

fn average_run_length(design: CusumDesign, shift: f64, runs: u32, rng: &mut ChaCha8Rng) -> f64 {
    let mut steps = 0_i64;
    for _ in 0..runs {
        let mut chart = Cusum::default();
        loop {
            steps += 1;
            if chart.step(&design, 0, shift + normal(rng), steps) {
                break;
            }
        }
    }
    steps as f64 / f64::from(runs)
}

/// Exact values by integral equation (R package spc 0.6.7): 335.37 and 8.383 for k 0.5, h 4; 930.89 for h 5.
#[test]
fn cusum_signals_as_often_as_theory_says() {
    let mut rng = ChaCha8Rng::seed_from_u64(1);
    for (h, shift, expected) in
        [(4.0, 0.0, 335.367_577_627), (4.0, 1.0, 8.383_202_129_75), (5.0, 0.0, 930.887_012_064)]
    {
        let found = average_run_length(CusumDesign::new(0.5, h), shift, 1_500, &mut rng);
        // Five standard errors of a run length that is nearly geometric.
        assert!(
            (found / expected - 1.0).abs() < 5.0 / 1_500_f64.sqrt(),
            "h {h}, shift {shift}: {found}, not {expected}"
        );
    }
}

/// 0.1 K a day on daily values of sigma 1.2 K, 28 days, 12 K of room.
#[test]
fn nine_in_ten_forecasts_hold_what_they_say_where_days_resemble_each_other() {
    let days: Vec<f64> = (0..28).map(f64::from).collect();
    let mut rng = ChaCha8Rng::seed_from_u64(2);
    let trials = 1_000;
    let (mut held, mut held_plainly) = (0, 0);
    for _ in 0..trials {
        let noise = correlated(&mut rng, days.len(), 0.4);
        let values: Vec<f64> = days.iter().zip(&noise).map(|(day, e)| 12.0 + 0.1 * day + 1.2 * e).collect();
        let truth = (24.0 - (12.0 + 0.1 * 27.0)) / 0.1;
        let within = trend(&days, &values, 0.9)
            .unwrap()
            .time_to_limit(24.0, Approach::FromBelow)
            .is_some_and(|time| time.early <= truth && time.late.is_none_or(|late| truth <= late));
        held += u32::from(within);
        let plain = theil_sen(&days, &values, 0.9).unwrap();
        held_plainly += u32::from(plain.low <= 0.1 && 0.1 <= plain.high);
    }
    let share = f64::from(held) / f64::from(trials);
    assert!((0.84..=0.97).contains(&share), "{share}");
    // What the widening is for: the plain interval of the slope alone holds less.
    assert!(held_plainly + 50 < held, "{held_plainly} against {held}");
}

#[test]
fn prewhitening_keeps_mann_kendall_honest_where_days_resemble_each_other() {
    let mut rng = ChaCha8Rng::seed_from_u64(3);
    let trials = 2_000;
    let (mut plain, mut whitened) = (0, 0);
    for _ in 0..trials {
        let values = correlated(&mut rng, 30, 0.5);
        plain += u32::from(mann_kendall(&values).unwrap().p < 0.05);
        whitened += u32::from(mann_kendall_prewhitened(&values).unwrap().p < 0.05);
    }
    let rate = |count: u32| f64::from(count) / f64::from(trials);
    assert!(rate(plain) > 0.15, "{}", rate(plain));
    assert!((0.03..=0.08).contains(&rate(whitened)), "{}", rate(whitened));
}

#[test]
fn a_sampled_compressor_shows_the_starts_the_formula_expects() {
    let mut rng = ChaCha8Rng::seed_from_u64(4);
    for (interval, starts, duty) in [(1.0, 6.0, 0.5), (5.0, 6.0, 0.3), (15.0, 12.0, 0.5)] {
        let on = Exp::new(starts / (60.0 * duty)).unwrap();
        let off = Exp::new(starts / (60.0 * (1.0 - duty))).unwrap();
        let hours = 20_000;
        let (mut running, mut until) = (false, 0.0_f64);
        let (mut seen_running, mut seen) = (false, 0_u32);
        let samples = (f64::from(hours) * 60.0 / interval) as u32;
        for i in 0..samples {
            let now = f64::from(i) * interval;
            while until <= now {
                running = !running;
                until += if running { on.sample(&mut rng) } else { off.sample(&mut rng) };
            }
            seen += u32::from(running && !seen_running);
            seen_running = running;
        }
        let found = f64::from(seen) / f64::from(hours);
        let expected = expected_observed_starts(interval, starts, duty).unwrap();
        assert!((found / expected - 1.0).abs() < 0.03, "{interval} min: {found}, not {expected}");
    }
}
