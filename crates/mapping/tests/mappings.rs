//! Mappings that are refused, each with a message that helps, and the ready ones, which are taken.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod common;

use common::{SMALL, mapping, ready, refusal};
use rimeline_channels::{Absence, Channel, Compressor, Id, Power, Stage, Value};
use rimeline_mapping::{Mapping, MappingError, Source};

fn refused(text: &str, parts: &[&str]) {
    let message = refusal(text);
    for part in parts {
        assert!(message.contains(part), "`{part}` is not in: {message}");
    }
}

#[test]
fn bad_toml_is_shown_with_its_line() {
    refused("[unit]\nid = 'U1'\n[time\n", &["test.toml", "line 3"]);
    refused(&format!("{SMALL}colour = 'blue'\n"), &["line 11", "colour", "`column`"]);
    refused("[unit]\nid = 'U1'\n", &["missing field `time`"]);
}

#[test]
fn an_unknown_channel_is_shown_with_its_line_and_the_known_ones() {
    refused(
        &SMALL.replace("supply_air_control", "outlet"),
        &["line 8", "`outlet`", "supply_air_control", "cargo_probe_6"],
    );
}

#[test]
fn an_unknown_unit_of_measure_is_shown_with_its_line_and_the_known_ones() {
    refused(&SMALL.replace("'Cel'", "'degC'"), &["line 10", "`degC`", "Cel [degF] K"]);
}

#[test]
fn a_unit_of_measure_of_another_kind_is_refused() {
    refused(&SMALL.replace("'Cel'", "'bar'"), &["number 1 (supply_air_control)", "\"bar\"", "\"Cel\""]);
}

#[test]
fn every_fault_is_listed_at_once() {
    let text = SMALL.replace("'U1'", "'a b'").replace("'unix_s'", "'%H:%M'").replace("'Cel'", "'bar'");
    refused(&text, &["3 faults", "`a b`", "year = 2024", "\"bar\""]);
}

#[test]
fn times_that_could_not_be_read_are_refused_before_any_file() {
    let with = |format: &str| SMALL.replace("format = 'unix_s'", format);
    refused(&with("format = '%Y-%m-%d %H:%M'"), &["[time]", "add `zone`"]);
    refused(&with("format = '%m-%d %H:%M'\nzone = 'UTC'"), &["add `year = 2024`"]);
    refused(&with("format = '%Y-%m-%d %!'\nzone = 'UTC'"), &["cannot be used"]);
    refused(&with("format = 'YYYY-MM-DD'\nzone = 'UTC'"), &["cannot be used"]);
    refused(&with("format = 'unix_s'\nzone = 'Nowhere/Atoll'"), &["Nowhere/Atoll", "Europe/Lisbon"]);
    refused(&SMALL.replace("column = 't'", ""), &["[time]", "exactly one"]);
    refused(&SMALL.replace("column = 't'", "columns = ['t', 'u']"), &["joined by a space"]);
}

#[test]
fn the_unit_must_come_from_exactly_one_place() {
    refused(&SMALL.replace("id = 'U1'", ""), &["[unit]", "exactly one"]);
    refused(&SMALL.replace("id = 'U1'", "id = 'U1'\ncolumn = 'who'"), &["[unit]", "exactly one"]);
    refused(&SMALL.replace("id = 'U1'", "id = 'U1'\nprefix = 'x'"), &["write `id` in full"]);
    refused(
        &SMALL.replace("id = 'U1'", "column = 'who'\nreplace = [{ from = '', to = 'x' }]"),
        &["`from` is empty"],
    );
}

#[test]
fn channels_that_contradict_themselves_are_refused() {
    let again = "[[channels]]\nchannel = 'supply_air_control'\ncolumn = 'y'\nunit = 'Cel'\n";
    refused(&format!("{SMALL}{again}"), &["number 2", "twice"]);
    refused(&SMALL.replace("column = 'x'", ""), &["`constant = ...`"]);
    refused(&format!("{SMALL}constant = 3.0\n"), &["exactly one"]);
    refused(&format!("{SMALL}scale = 0.0\n"), &["scale = 0"]);
    refused(&format!("{SMALL}offset = nan\n"), &["not finite"]);
    refused(&SMALL.replace("column = 'x'", "constant = 1e12"), &["too large"]);
    refused(&SMALL[..SMALL.find("[[").unwrap()], &["no column"]);
}

#[test]
fn states_that_cannot_be_are_refused_with_the_known_words() {
    let with = |line: &str| format!("{SMALL}[state]\n{line}\n");
    refused(&with("power = 'maybe'"), &["[state] power", "`maybe`", "off, on"]);
    refused(&with("stage = { column = 's', values = { '1' = 'cold' } }"), &["`cold`", "cooling_low"]);
    refused(&with("stage = { column = 's' }"), &["line 12", "`values`"]);
    refused(&with("stage = { values = { '1' = 'heating' } }"), &["`column`"]);
    refused(&with("stage = { column = 's', values = {}, heating = 'x > 1' }"), &["not both"]);
    refused(&with("power = 3"), &["line 12", "a word"]);
    refused(
        &with("compressor = { running = 'x > many' }"),
        &["[state] compressor", "`x > many`", "power > 500"],
    );
    refused(&with("compressor = { spinning = 'x > 1' }"), &["`spinning`", "stopped, running"]);
    refused(&with("gear = 'first'"), &["gear", "`door`"]);
}

#[test]
fn limits_of_batches_and_lines_are_stated() {
    refused(&format!("{SMALL}[batches]\nrows = 0\n"), &["rows = 0", "100000"]);
    refused(&format!("{SMALL}[batches]\nrows = 100001\n"), &["rows = 100001"]);
    assert!(Mapping::parse("", &format!("{SMALL}[batches]\nrows = 100000\n")).is_ok());
    refused(&format!("{SMALL}[batches]\nsort_rows = 0\n"), &["sort_rows"]);
    refused(&format!("{SMALL}[batches]\norder = 'random'\n"), &["line 12", "merge_by_time"]);
    refused(&format!("{SMALL}[csv]\nmax_line_bytes = 0\n"), &["max_line_bytes"]);
    refused(&format!("{SMALL}[csv]\ndelimiter = '::'\n"), &["line 12", "one ASCII character"]);
    refused(&format!("{SMALL}[csv]\nencoding = 'ebcdic'\n"), &["latin-1"]);
}

#[test]
fn registry_parts_are_checked_where_the_vocabulary_is_known() {
    refused(&format!("{SMALL}[unit_description]\nfitted = ['coil', 'colour']\n"), &["`colour`", "coil"]);
    refused(&format!("{SMALL}[unit_description]\ntime_zone = 'Mars'\n"), &["Mars"]);
    refused(&format!("{SMALL}[unit_description]\ncolour = 'red'\n"), &["line 12", "colour"]);
    refused(&format!("{SMALL}[load]\nfrom = 'tomorrow'\n"), &["tomorrow", "RFC 3339"]);
    refused(&format!("{SMALL}[units.'a b']\ndepot = 'x'\n"), &["[units]", "`a b`"]);
}

#[test]
fn a_mapping_that_is_not_there_is_named() {
    let error = Mapping::read(std::path::Path::new("/nowhere/m.toml")).unwrap_err();
    assert!(matches!(error, MappingError::Unreadable { .. }));
    assert!(error.to_string().contains("/nowhere/m.toml"), "{error}");
}

#[test]
fn every_ready_mapping_is_taken() {
    let folder = common::repository().join("tests/mappings");
    let mut seen = 0;
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let mapping = Mapping::read(&path).unwrap_or_else(|error| panic!("{error}"));
        assert!(!mapping.title().is_empty(), "{}", path.display());
        seen += 1;
    }
    assert!(seen >= 5, "{seen}");
}

#[test]
fn a_unit_takes_from_the_general_description_what_its_own_leaves_out() {
    let mapping = ready("example.toml");
    let (own, other) = (Id::new("TR-7").unwrap(), Id::new("TR-8").unwrap());
    let description = mapping.description_of(&own).unwrap();
    assert_eq!(description.depot.as_deref(), Some("south yard"));
    assert_eq!(description.family.as_deref(), Some("trailer-a"));
    assert_eq!(mapping.description_of(&other).unwrap().depot.as_deref(), Some("north yard"));
    let fitted = ["return_air_control", "supply_air_control", "set_point", "discharge_pressure"];
    assert_eq!(description.fitted.unwrap(), fitted, "the mapped channels");
    let load = mapping.load_of(&own).unwrap();
    assert_eq!((load.load.as_deref(), load.set_point_cel), (Some("L-2"), Some(-20.0)));
    assert_eq!((load.band_above_k, load.from.as_deref()), (Some(2.0), Some("2024-08-26T00:00:00Z")));
    assert_eq!(mapping.load_of(&other).unwrap().cargo_class.as_deref(), Some("chilled"));
}

#[test]
fn a_mapping_that_says_nothing_for_the_registry_describes_nothing() {
    let mapping = mapping(SMALL);
    let unit = Id::new("U1").unwrap();
    assert_eq!((mapping.description_of(&unit), mapping.load_of(&unit)), (None, None));
    assert_eq!(mapping.channels(), [Channel::SupplyAirControl]);
}

#[test]
fn the_example_reads_a_file_of_the_layout_it_describes() {
    let mapping = ready("example.toml");
    let text = "Yard logger 4\nmade on Monday\ndate;time;trailer;T return;T supply;p2 abs;supply V;power W;stg;digital in\n\
                # door side\n26/08;24:00:00;7;4,5;39,2;110;27,6;1800;2;3\n27/08;00:01:00;8;OPEN;999;-;12;0;9;0\n";
    let mut import = mapping.import(vec![Source::csv("yard.csv", text.as_bytes())]);
    let rows = common::rows(&mut import);
    assert_eq!(import.problems().total(), 0, "{}", import.problems());
    let (unit, first) = &rows[0];
    assert_eq!(unit.as_str(), "TR-7");
    // Midnight of Lisbon's summer time.
    assert_eq!(first.time, 1_724_713_200_000);
    let told =
        [Channel::ReturnAirControl, Channel::SupplyAirControl, Channel::SetPoint, Channel::DischargePressure];
    assert_eq!(told.map(|channel| first.quantity(channel)), [Some(4.5), Some(4.0), Some(4.0), Some(999.0)]);
    assert_eq!((first.state.power, first.state.compressor), (Power::On, Compressor::Running));
    assert_eq!((first.state.stage, first.state.inputs), (Stage::CoolingHigh, 3));
    let second = &rows[1].1;
    assert_eq!(told.map(|channel| second.quantity(channel)), [None, None, Some(4.0), None]);
    assert_eq!(second.get(Channel::ReturnAirControl), Value::Absent(Absence::FailedOpen));
    assert_eq!((second.state.power, second.state.stage), (Power::Off, Stage::Unknown));
}
