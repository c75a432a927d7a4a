//! Applies the statistics to JSON cases, one a line on standard input, and prints one JSON answer a line.
//!
//! `tests/reference/statistics_reference.py` sends random cases and compares the answers with other libraries.

#![allow(clippy::print_stdout)]

use std::error::Error;
use std::io::{BufRead, Write};

use rimeline_detector::stats::{
    CusumDesign, CusumPair, Ewma, EwmaChart, PullDown, expected_observed_starts, garwood, mad_in_place,
    mann_kendall, mann_kendall_prewhitened, median_in_place, rate_exceeds, siegmund_arl, theil_sen, trend,
    wilson,
};
use serde::Deserialize;
use serde_json::{Value, json};

#[derive(Deserialize)]
#[serde(rename_all = "snake_case")]
enum Case {
    Median { y: Vec<f64> },
    Cusum { z: Vec<f64>, k: f64 },
    Siegmund { k: f64, h: f64, shift: f64 },
    Ewma { y: Vec<f64>, lambda: f64, target: f64, sigma: f64, width: f64 },
    TheilSen { x: Vec<f64>, y: Vec<f64>, level: f64 },
    MannKendall { y: Vec<f64> },
    Prewhitened { y: Vec<f64> },
    Trend { x: Vec<f64>, y: Vec<f64>, level: f64 },
    PullDown { x: Vec<f64>, y: Vec<f64>, level: f64 },
    Garwood { count: u32, level: f64 },
    Wilson { successes: u32, trials: u32, level: f64 },
    RateExceeds { count: u32, exposure: f64, prior_count: f64, prior_exposure: f64, rate: f64 },
    SampledStarts { interval: f64, starts: f64, duty: f64 },
}

fn answer(case: Case) -> Option<Value> {
    Some(match case {
        Case::Median { mut y } => {
            let median = median_in_place(&mut y)?;
            json!({ "median": median, "mad": mad_in_place(&mut y, median)? })
        }
        Case::Cusum { z, k } => {
            let (design, mut pair) = (CusumDesign::new(k, 5.0), CusumPair::default());
            let mut sums = Vec::new();
            for (at, z) in (0..).zip(z) {
                pair.step(&design, 0, z, at);
                sums.push((pair.up.sum(), pair.down.sum()));
            }
            json!({ "up": sums.iter().map(|s| s.0).collect::<Vec<_>>(), "down": sums.iter().map(|s| s.1).collect::<Vec<_>>() })
        }
        Case::Siegmund { k, h, shift } => json!({ "arl": siegmund_arl(k, h, shift) }),
        Case::Ewma { y, lambda, target, sigma, width } => {
            let chart = EwmaChart { target, sigma, lambda, width };
            let mut average = Ewma::starting_at(target);
            let levels: Vec<_> = y.iter().map(|x| average.step(lambda, *x)).collect();
            let limits: Vec<_> = (1..).take(y.len()).map(|i| chart.half_width(i)).collect();
            json!({ "levels": levels, "half_widths": limits })
        }
        Case::TheilSen { x, y, level } => json!(theil_sen(&x, &y, level)?),
        Case::MannKendall { y } => json!(mann_kendall(&y)?),
        Case::Prewhitened { y } => json!(mann_kendall_prewhitened(&y)?),
        Case::Trend { x, y, level } => json!(trend(&x, &y, level)?),
        Case::PullDown { x, y, level } => {
            let mut sums = PullDown::default();
            for (minutes, temperature) in x.iter().zip(y) {
                sums.step(*minutes, temperature);
            }
            let fit = sums.fit()?;
            json!({ "start": fit.start, "end": fit.end, "end_error": fit.end_error, "rate": fit.rate,
                    "end_at_least": fit.end_at_least(level)? })
        }
        Case::Garwood { count, level } => json!(garwood(count, level)?),
        Case::Wilson { successes, trials, level } => json!(wilson(successes, trials, level)?),
        Case::RateExceeds { count, exposure, prior_count, prior_exposure, rate } => {
            json!({ "p": rate_exceeds(count, exposure, prior_count, prior_exposure, rate)? })
        }
        Case::SampledStarts { interval, starts, duty } => {
            json!({ "per_h": expected_observed_starts(interval, starts, duty)? })
        }
    })
}

fn main() -> Result<(), Box<dyn Error>> {
    let mut out = std::io::stdout().lock();
    for line in std::io::stdin().lock().lines() {
        writeln!(out, "{}", json!(answer(serde_json::from_str(&line?)?)))?;
    }
    Ok(())
}
