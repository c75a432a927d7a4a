#!/usr/bin/env python3
"""Compares the detector's statistics with scipy and pymannkendall on random cases.

    python -m venv venv && venv/bin/pip install scipy pymannkendall
    venv/bin/python tests/reference/statistics_reference.py

Runs `cargo run -p rimeline-detector --example stats_figures` (or the program named by STATS_FIGURES) and exits with 1
when a figure differs, with 2 when a library is missing.
"""

import json
import math
import os
import pathlib
import subprocess
import sys

try:
    import numpy as np
    import pymannkendall
    import scipy
    from scipy import stats
except ImportError as missing:
    print(f"cannot compare: {missing}", file=sys.stderr)
    sys.exit(2)

RELATIVE = 1e-7
ROOT = pathlib.Path(__file__).resolve().parents[2]


def cusum(z, k):
    up = down = 0.0
    sums = {"up": [], "down": []}
    for value in z:
        up, down = max(0.0, up + value - k), max(0.0, down - value - k)
        sums["up"].append(up)
        sums["down"].append(down)
    return sums


def siegmund(k, h, shift):
    b, d = h + 1.166, shift - k
    return {"arl": b * b if d == 0 else (math.exp(-2 * d * b) + 2 * d * b - 1) / (2 * d * d)}


def ewma(y, lam, target, sigma, width):
    levels, level = [], target
    for value in y:
        level = lam * value + (1 - lam) * level
        levels.append(level)
    halves = [
        width * sigma * math.sqrt(lam / (2 - lam) * (1 - (1 - lam) ** (2 * i))) for i in range(1, len(y) + 1)
    ]
    return {"levels": levels, "half_widths": halves}


def theil_sen(x, y, level):
    line = stats.theilslopes(y, x, level)
    return {"slope": line.slope, "intercept": line.intercept, "low": line.low_slope, "high": line.high_slope}


def mann_kendall(test):
    return {"s": test.s, "variance": test.var_s, "z": test.z, "p": test.p, "tau": test.Tau}


def trend(x, y, level):
    x, y = np.array(x), np.array(y)
    line = stats.theilslopes(y, x, level)
    residuals = y - line.slope * x
    residuals -= np.median(residuals)
    n = len(y)
    raw = residuals[:-1] @ residuals[1:] / (residuals @ residuals)
    r = min(max(raw + (1 + 4 * raw) / n, 0.0), 0.8)
    widen = math.sqrt((1 + r) / (1 - r))
    mad = np.median(np.abs(residuals))
    return {
        "slope": line.slope,
        "slope_low": line.slope - widen * (line.slope - line.low_slope),
        "slope_high": line.slope + widen * (line.high_slope - line.slope),
        "level": line.intercept + line.slope * x[-1],
        "level_error": stats.norm.ppf((1 + level) / 2) * 2 * 1.2533 * 1.4826 * mad / math.sqrt(n) * widen,
        "autocorrelation": r,
        "inflation": widen,
    }


def pull_down(x, y, level):
    x, y = np.array(x), np.array(y)
    integral = np.concatenate([[0.0], np.cumsum(np.diff(x) * (y[1:] + y[:-1]) / 2)])
    design = np.c_[np.ones(len(x)), integral, x]
    start, by_integral, by_time = np.linalg.lstsq(design, y, rcond=None)[0]
    rate, freedom = -by_integral, len(x) - 3
    end = by_time / rate
    left_over = np.sum((y - design @ [start, by_integral, by_time]) ** 2) / freedom
    gradient = np.array([0.0, end / rate, 1 / rate])
    error = math.sqrt(gradient @ (left_over * np.linalg.inv(design.T @ design)) @ gradient)
    return {
        "start": start,
        "end": end,
        "end_error": error,
        "rate": rate,
        "end_at_least": end - stats.t.ppf(level, freedom) * error,
    }


def garwood(count, level):
    tail = (1 - level) / 2
    low = stats.chi2.ppf(tail, 2 * count) / 2 if count else 0.0
    return {"low": low, "high": stats.chi2.ppf(1 - tail, 2 * count + 2) / 2}


def wilson(successes, trials, level):
    interval = stats.binomtest(successes, trials).proportion_ci(level, "wilson")
    return {"low": interval.low, "high": interval.high}


def cases(rng):
    """Pairs of what is sent and what should come back."""
    for _ in range(60):
        n = int(rng.integers(8, 40))
        x = np.cumsum(rng.choice([1.0, 1.0, 1.0, 2.0, 3.0], n)).tolist()
        noise = np.zeros(n)
        for i in range(1, n):
            noise[i] = rng.choice([0.0, 0.4, 0.8]) * noise[i - 1] + rng.normal()
        y = np.round(12 + rng.normal(0, 0.2) * np.array(x) + noise, 1).tolist()  # rounded, so that there are ties
        level = float(rng.choice([0.8, 0.9, 0.95, 0.99]))
        k, h = float(rng.uniform(0.25, 1)), float(rng.uniform(2, 8))

        yield "median", {"y": y}, {"median": float(np.median(y)), "mad": stats.median_abs_deviation(y)}
        yield "cusum", {"z": noise.tolist(), "k": k}, cusum(noise, k)
        shift = float(rng.uniform(0, 2))
        yield "siegmund", {"k": k, "h": h, "shift": shift}, siegmund(k, h, shift)
        chart = {"y": y, "lambda": k / 2, "target": 12.0, "sigma": 1.3, "width": 3.0}
        yield "ewma", chart, ewma(y, k / 2, 12.0, 1.3, 3.0)
        yield "theil_sen", {"x": x, "y": y, "level": level}, theil_sen(x, y, level)
        yield "mann_kendall", {"y": y}, mann_kendall(pymannkendall.original_test(y))
        yield "prewhitened", {"y": y}, mann_kendall(pymannkendall.pre_whitening_modification_test(y))
        yield "trend", {"x": x, "y": y, "level": level}, trend(x, y, level)

        minutes = np.cumsum(rng.uniform(0.5, 5, 30))
        minutes = (minutes - minutes[0]).tolist()
        rate, end = rng.uniform(0.01, 0.05), rng.uniform(-30, 0)
        cooling = np.round(end + (25 - end) * np.exp(-rate * np.array(minutes)) + rng.normal(0, 0.1, 30), 2).tolist()
        fitted = {"x": minutes, "y": cooling, "level": level}
        yield "pull_down", fitted, pull_down(minutes, cooling, level)

        count = int(rng.integers(0, 200))
        trials = count + int(rng.integers(1, 200))
        yield "garwood", {"count": count, "level": level}, garwood(count, level)
        share = {"successes": count, "trials": trials, "level": level}
        yield "wilson", share, wilson(count, trials, level)
        exposure, bound = float(rng.uniform(0.5, 20)), float(rng.uniform(0.1, 5))
        rates = {"count": count % 12, "exposure": exposure, "prior_count": 0.5, "prior_exposure": 1.0, "rate": bound}
        expected = stats.gamma.sf(bound, 0.5 + count % 12, scale=1 / (1 + exposure))
        yield "rate_exceeds", rates, {"p": expected}

        duty, starts, every = float(rng.uniform(0.05, 0.95)), float(rng.uniform(0.5, 12)), float(rng.uniform(1, 15))
        on, off = 60 * duty / starts, 60 * (1 - duty) / starts
        seen = 60 / every * duty * (1 - duty) * (1 - math.exp(-every * (1 / on + 1 / off)))
        yield "sampled_starts", {"interval": every, "starts": starts, "duty": duty}, {"per_h": seen}


def main():
    sent = list(cases(np.random.default_rng(20260301)))
    command = os.environ.get("STATS_FIGURES")
    command = [command] if command else ["cargo", "run", "-q", "-p", "rimeline-detector", "--example", "stats_figures"]
    lines = "\n".join(json.dumps({name: case}) for name, case, _ in sent)
    run = subprocess.run(command, input=lines, capture_output=True, text=True, cwd=ROOT)
    if run.returncode:
        print(run.stderr, file=sys.stderr)
        return 1
    answers = [json.loads(line) for line in run.stdout.splitlines()]
    if len(answers) != len(sent):
        print(f"{len(sent)} cases were sent, {len(answers)} answers came back", file=sys.stderr)
        return 1

    worst, wrong = {}, 0
    for (name, case, expected), answer in zip(sent, answers):
        for figure, value in expected.items():
            found = None if answer is None else answer.get(figure)
            if found is None:
                difference = math.inf
            else:
                value, got = np.atleast_1d(value).astype(float), np.atleast_1d(found).astype(float)
                difference = float(np.max(np.abs(got - value) / np.maximum(np.abs(value), 1e-3)))
            key = f"{name}.{figure}"
            worst[key] = max(worst.get(key, 0.0), difference)
            if not difference <= RELATIVE:
                wrong += 1
                if wrong <= 10:
                    print(f"{key}: found {found}, expected {value}, for {json.dumps(case)}")
    print(f"scipy {scipy.__version__}, pymannkendall {getattr(pymannkendall, '__version__', '')}")
    for key, difference in worst.items():
        print(f"  {key:32} worst relative difference {difference:.1e}")
    print(f"{len(sent)} cases, {wrong} figures differ by more than {RELATIVE}")
    return 1 if wrong else 0


sys.exit(main())
