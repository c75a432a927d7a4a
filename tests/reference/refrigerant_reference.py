#!/usr/bin/env python3
"""Compares saturation and pressure references of `crates/refrigerant` with CoolProp, and makes its table.

    python -m venv venv && venv/bin/pip install CoolProp==8.0.0
    venv/bin/python tests/reference/refrigerant_reference.py           # compare; exits with 1 on a violation
    venv/bin/python tests/reference/refrigerant_reference.py --table   # print crates/refrigerant/src/table.rs

Comparing runs `cargo run -p rimeline-refrigerant --example saturation`, or the program named by SATURATION.
"""

import math
import os
import pathlib
import subprocess
import sys

try:
    import CoolProp
    from CoolProp import QT_INPUTS, AbstractState
except ImportError as missing:
    print(f"cannot compare: {missing}", file=sys.stderr)
    sys.exit(2)

ROOT = pathlib.Path(__file__).resolve().parents[2]
ZERO = 273.15

# Name here, name in CoolProp, first and last row in Cel, largest error allowed in K. The blends at the end exist in
# CoolProp as mixtures only, whose solver fails at some temperatures; the table of each ends where it still brackets
# them, or below its critical point.
FLUIDS = [
    ("R134a", "R134a", -60, 95, 0.05),
    ("R404A", "R404A", -60, 70, 0.05),
    ("R410A", "R410A", -60, 70, 0.05),
    ("R448A", "R448A.mix", -60, 70, 0.1),
    ("R449A", "R449A.mix", -60, 70, 0.1),
    ("R452A", "R452A.mix", -60, 68, 0.1),
    ("R744", "CarbonDioxide", -55, None, 0.05),
]
SIDES = {"bubble": 0, "dew": 1}


def saturation_pressure(state, t, quality):
    """kPa, or None where the solver fails."""
    try:
        state.update(QT_INPUTS, quality, t + ZERO)
        return state.p() / 1000
    except ValueError:
        return None


def bracketed_pressure(state, t, quality):
    """As above; where the solver fails, from the nearest temperatures at which it does not."""
    pressure = saturation_pressure(state, t, quality)
    if pressure is not None:
        return pressure
    ends = []
    for sign in (-1, 1):
        for step in range(1, 40):
            near = t + sign * step * 0.05
            pressure = saturation_pressure(state, near, quality)
            if pressure is not None:
                ends.append((1 / (near + ZERO), math.log(pressure)))
                break
    (x0, y0), (x1, y1) = ends
    return math.exp(y0 + (y1 - y0) * (1 / (t + ZERO) - x0) / (x1 - x0))


def last_row(state, last):
    return state.T_critical() - ZERO - 1e-6 if last is None else last


def print_table():
    print(f"// Made by tests/reference/refrigerant_reference.py --table with CoolProp {CoolProp.__version__} (MIT licence).")
    print("// R-404A and R-410A are its pseudo-pure fluids; R-448A, R-449A and R-452A its mixtures of the same names.")
    print()
    print("/// Saturation at one temperature.")
    print("pub(crate) struct Row {")
    print("    /// Cel.")
    print("    pub(crate) t: f64,")
    print("    /// Pressure of liquid about to boil, kPa absolute.")
    print("    pub(crate) bubble: f64,")
    print("    /// Pressure of vapour about to condense, kPa absolute.")
    print("    pub(crate) dew: f64,")
    print("}")
    print()
    print("const fn row(t: f64, bubble: f64, dew: f64) -> Row {")
    print("    Row { t, bubble, dew }")
    print("}")
    for name, model, first, last, _ in FLUIDS:
        state = AbstractState("HEOS", model)
        end = last_row(state, last)
        grid = [float(t) for t in range(first, math.ceil(end), 5)] + [end]
        print(f"\n#[rustfmt::skip]\npub(crate) const {name.upper()}: &[Row] = &[")
        for t in grid:
            bubble, dew = (bracketed_pressure(state, t, SIDES[side]) for side in ("bubble", "dew"))
            shown = f"{t:.1f}" if t == round(t, 1) else f"{t:.4f}"
            print(f"    row({shown}, {float(f'{bubble:.6g}')}, {float(f'{dew:.6g}')}),")
        print("];")


def ambient(altitude):
    """International standard atmosphere, kPa at an altitude in m."""
    return 101.325 * (1 - 0.0065 * altitude / 288.15) ** (9.80665 * 0.0289644 / (8.31446 * 0.0065))


def queries():
    """What is asked, the answer as CoolProp has it, and how many kPa are 1 K there."""
    for name, model, first, last, allowed in FLUIDS:
        state = AbstractState("HEOS", model)
        end = last_row(state, last)
        steps = int((end - first) / 0.37)
        for side, quality in SIDES.items():
            for i in range(steps + 1):
                t = first + 0.01 + i * 0.37
                if t > end - 0.01:
                    continue
                p = saturation_pressure(state, t, quality)
                below = saturation_pressure(state, t - 0.01, quality)
                if p is None or below is None:
                    yield name, side, None, None, None, allowed
                    continue
                slope = (p - below) / 0.01
                for reference, altitude in [("absolute", 0), ("vented_gauge", 0), ("vented_gauge", 1500), ("sealed_gauge", 1500)]:
                    zero = {"absolute": 0.0, "sealed_gauge": 101.325}.get(reference, ambient(altitude))
                    where = f"{name},{side},{reference},{altitude}"
                    yield name, side, f"temperature,{where},{p - zero!r}", t, 1.0, allowed
                    yield name, side, f"pressure,{where},{t!r}", p - zero, slope, allowed


def compare():
    asked = list(queries())
    sent = [query for _, _, query, _, _, _ in asked if query]
    command = os.environ.get("SATURATION")
    command = [command] if command else ["cargo", "run", "-q", "-p", "rimeline-refrigerant", "--example", "saturation"]
    run = subprocess.run(command, input="\n".join(sent), capture_output=True, text=True, cwd=ROOT)
    if run.returncode:
        print(run.stderr, file=sys.stderr)
        return 1
    answers = iter(run.stdout.splitlines())
    worst, counts, unsolved, wrong = {}, {}, {}, 0
    for name, side, query, expected, per_kelvin, allowed in asked:
        key = (name, side)
        if query is None:
            unsolved[key] = unsolved.get(key, 0) + 1
            continue
        answer = next(answers, "")
        difference = math.inf if answer in ("none", "") else abs(float(answer) - expected) / per_kelvin
        kind = (*key, query.split(",")[0])
        worst[kind] = max(worst.get(kind, 0.0), difference)
        counts[kind] = counts.get(kind, 0) + 1
        if not difference <= allowed:
            wrong += 1
            if wrong <= 10:
                print(f"{query}: found {answer}, expected {expected}")
    print(f"CoolProp {CoolProp.__version__}")
    for (name, side, kind), difference in sorted(worst.items()):
        print(f"  {name} {side:6} {kind:11} worst {difference:.4f} K of {counts[name, side, kind]}")
    for (name, side), count in sorted(unsolved.items()):
        print(f"  {name} {side}: CoolProp's own solver fails at {count} temperatures, which were left out")
    print(f"{len(sent)} queries, {wrong} outside what is allowed")
    return 1 if wrong or next(answers, None) is not None else 0


if "--table" in sys.argv:
    print_table()
else:
    sys.exit(compare())
