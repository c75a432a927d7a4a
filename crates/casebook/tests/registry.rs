//! Units, loads and what they reported.
#![allow(clippy::unwrap_used)]

mod common;

use common::{EPOCH, HOUR, MONDAY, id, in_depot, load, of, open, open_with, opening, signal, step};
use rimeline_casebook::{
    CargoClass, Casebook, Desk, LastValue, Load, Options, Priority, RegistryChange, Seen, Step,
    UnitDescription, validate_description, validate_load,
};
use rimeline_channels::{Absence, Channel, Drive, Power, RunningMode, State, UnixMs, Value};
use rimeline_detector::{Condition, Judgement, Mark, Standing, Verdict};
use rimeline_refrigerant::{PressureReference, Refrigerant};

/// Makes one field of a good value bad.
type Spoil<T> = Box<dyn Fn(&mut T)>;

fn put(position: u64, now: UnixMs, registry: Vec<RegistryChange>) -> Step {
    Step { registry, ..Step::new("assess", Some(position), now) }
}

fn saw(unit: &str, at: UnixMs, values: &[(Channel, Value)], power: Power) -> Step {
    let last_values = values.iter().map(|&(channel, value)| LastValue::new(channel, value, at)).collect();
    let last_state = State { power, ..State::default() };
    let seen =
        vec![Seen { unit: id(unit), last_reading: at, rows: 10, not_assessed: 1, last_values, last_state }];
    Step { seen, ..Step::new("assess", None, at) }
}

#[test]
fn a_unit_that_only_reported_is_known_and_not_described() {
    let folder = tempfile::tempdir().unwrap();
    let book = open(&folder);
    book.commit(&saw("TR-2", MONDAY, &[], Power::On)).unwrap();
    book.commit(&put(1, MONDAY, vec![in_depot("TR-1", "North")])).unwrap();
    let units = book.units(None).unwrap();
    assert_eq!(units.iter().map(|u| u.unit.as_str()).collect::<Vec<_>>(), ["TR-1", "TR-2"]);
    assert_eq!((units[0].last_reading, units[1].description.is_some()), (None, false));
    assert_eq!(book.units(Some("North")).unwrap().len(), 1);
    assert!(book.units(Some("South")).unwrap().is_empty());
    assert_eq!(book.unit(&id("TR-3")).unwrap(), None);
    book.commit(&put(2, MONDAY, vec![in_depot("TR-1", "South")])).unwrap();
    assert_eq!(book.units(Some("South")).unwrap().len(), 1, "a description replaces the one before");
}

#[test]
fn rows_add_up_and_each_channel_keeps_what_it_said_last_whatever_the_order() {
    let folder = tempfile::tempdir().unwrap();
    let book = open(&folder);
    let (coil, probe) = (Channel::Coil, Channel::CargoProbe1);
    book.commit(&saw(
        "TR-1",
        MONDAY + HOUR,
        &[(coil, Value::Number(20)), (probe, Value::Number(31))],
        Power::On,
    ))
    .unwrap();
    book.commit(&saw("TR-1", MONDAY + 2 * HOUR, &[(probe, Value::Absent(Absence::FailedOpen))], Power::Off))
        .unwrap();
    book.commit(&saw(
        "TR-1",
        MONDAY,
        &[(coil, Value::Number(-99)), (Channel::SetPoint, Value::Number(40))],
        Power::On,
    ))
    .unwrap();
    let unit = book.unit(&id("TR-1")).unwrap().unwrap();
    assert_eq!((unit.summary.rows, unit.summary.not_assessed), (30, 3));
    assert_eq!(unit.summary.last_reading, Some(MONDAY + 2 * HOUR));
    assert_eq!(unit.last_state.power, Power::Off, "an older reading does not change the state");
    let expected = [
        LastValue::new(coil, Value::Number(20), MONDAY + HOUR),
        LastValue::new(probe, Value::Absent(Absence::FailedOpen), MONDAY + 2 * HOUR),
        LastValue::new(Channel::SetPoint, Value::Number(40), MONDAY),
    ];
    assert_eq!(unit.last_values, expected);
    assert_eq!(
        unit.last_values.iter().map(LastValue::quantity).collect::<Vec<_>>(),
        [Some(2.0), None, Some(4.0)]
    );
}

#[test]
fn the_load_at_a_time_is_the_one_that_started_last_of_those_that_cover_it() {
    let folder = tempfile::tempdir().unwrap();
    let book = open(&folder);
    let loads = vec![
        RegistryChange::PutLoad(load("L-1", "TR-1", CargoClass::Frozen, MONDAY, Some(MONDAY + 10 * HOUR))),
        RegistryChange::PutLoad(load("L-2", "TR-1", CargoClass::Pharma, MONDAY + 5 * HOUR, None)),
    ];
    book.commit(&put(1, MONDAY, loads)).unwrap();
    let at = |hours: i64| {
        book.load_at(&id("TR-1"), MONDAY + hours * HOUR).unwrap().map(|load| load.load.to_string())
    };
    assert_eq!(at(-1), None);
    assert_eq!(at(0).as_deref(), Some("L-1"));
    assert_eq!(at(5).as_deref(), Some("L-2"));
    let moved = load("L-2", "TR-2", CargoClass::Pharma, MONDAY + 5 * HOUR, None);
    book.commit(&put(2, MONDAY, vec![RegistryChange::PutLoad(moved)])).unwrap();
    assert_eq!(at(9).as_deref(), Some("L-1"));
    assert_eq!(at(10), None, "a load ends before its last moment");
    assert_eq!(book.loads(Some(&id("TR-2"))).unwrap().len(), 1);
    assert_eq!(book.loads(None).unwrap().len(), 2);
    assert!(
        book.units(None).unwrap().iter().any(|unit| unit.unit == id("TR-2")),
        "a unit with a load is known"
    );
}

#[test]
fn a_standing_case_follows_what_its_unit_carries_as_time_passes() {
    let folder = tempfile::tempdir().unwrap();
    let book = open(&folder);
    let worse = signal(Condition::WeakCooling, Standing::Escalated, MONDAY + HOUR);
    let loads = vec![
        RegistryChange::PutLoad(load("L-0", "TR-1", CargoClass::Empty, MONDAY, Some(MONDAY + 5 * HOUR))),
        RegistryChange::PutLoad(load(
            "L-1",
            "TR-1",
            CargoClass::Pharma,
            MONDAY + 5 * HOUR,
            Some(MONDAY + 9 * HOUR),
        )),
    ];
    let opened = book
        .commit(&Step { registry: loads, ..step(1, vec![of("TR-1", worse)]) })
        .unwrap()
        .changes
        .remove(0)
        .case;
    assert_eq!((opened.cargo_class, opened.desk), (CargoClass::Empty, Desk::Weekly));
    assert!(book.commit(&Step::new("assess", None, MONDAY + 5 * HOUR - 1)).unwrap().changes.is_empty());
    let loaded = book.commit(&Step::new("assess", None, MONDAY + 5 * HOUR)).unwrap().changes.remove(0).case;
    assert_eq!(
        (loaded.cargo_class, loaded.desk, loaded.priority),
        (CargoClass::Pharma, Desk::Night, Priority::High)
    );
    assert!(loaded.cautions[0].contains("shipper"), "{:?}", loaded.cautions);
    assert!(book.commit(&Step::new("assess", None, MONDAY + 6 * HOUR)).unwrap().changes.is_empty());
    let unloaded = book.commit(&Step::new("assess", None, MONDAY + 9 * HOUR)).unwrap().changes.remove(0).case;
    assert_eq!(unloaded.cargo_class, CargoClass::Unknown);
    let moved = book.commit(&put(2, MONDAY + 9 * HOUR, vec![in_depot("TR-1", "South")])).unwrap().changes;
    assert_eq!(moved[0].case.depot, "South");
    assert_eq!(moved[0].case.case_id, opened.case_id);
}

#[test]
fn the_newest_marks_and_loads_of_a_unit_are_kept_up_to_the_limit() {
    let folder = tempfile::tempdir().unwrap();
    let few = Options { kept_marks: 3, kept_loads: 2, ..Options::new(EPOCH) };
    let book = open_with(&folder, few);
    let mark = |n: i64| Mark {
        channel: Channel::Coil,
        at: MONDAY + n,
        value: 1.0,
        expected: 0.0,
        what: n.to_string(),
    };
    for n in 1..=5 {
        let marks = vec![(id("TR-1"), mark(n)), (id("TR-2"), mark(n))];
        let put =
            RegistryChange::PutLoad(load(&format!("L-{n}"), "TR-1", CargoClass::Frozen, MONDAY + n, None));
        book.commit(&Step { marks, registry: vec![put], ..Step::new("assess", None, MONDAY) }).unwrap();
    }
    let kept =
        |unit: &str| book.marks(&id(unit)).unwrap().into_iter().map(|mark| mark.what).collect::<Vec<_>>();
    assert_eq!((kept("TR-1"), kept("TR-2")), (vec!["3".into(), "4".into(), "5".into()], kept("TR-1")));
    let loads: Vec<_> = book.loads(None).unwrap().into_iter().map(|load| load.load.to_string()).collect();
    assert_eq!(loads, ["L-4", "L-5"]);
    drop(book);
    let book = open_with(&folder, Options { kept_marks: 1, ..few });
    book.commit(&Step { marks: vec![(id("TR-1"), mark(6))], ..Step::new("assess", None, MONDAY) }).unwrap();
    assert_eq!(book.marks(&id("TR-1")).unwrap(), [mark(6)], "fewer are kept from now on");
}

#[test]
fn judgements_are_those_said_last() {
    let folder = tempfile::tempdir().unwrap();
    let book = open(&folder);
    let said = |verdict, at| {
        let judgement =
            Judgement { condition: Condition::Silent, verdict, reason: String::new(), able_to_decide: 1.0 };
        Step { judgements: vec![(id("TR-1"), vec![judgement])], ..Step::new("assess", None, at) }
    };
    assert!(book.judgements(&id("TR-1")).unwrap().is_empty());
    for week in 0..20 {
        book.commit(&said(Verdict::Learning, MONDAY + week * 7 * 24 * HOUR)).unwrap();
        book.commit(&said(Verdict::Quiet, MONDAY + week * 7 * 24 * HOUR + HOUR)).unwrap();
    }
    assert_eq!(book.judgements(&id("TR-1")).unwrap()[0].verdict, Verdict::Quiet);
    let raw = rusqlite::Connection::open(folder.path().join("casebook.db")).unwrap();
    let kept: i64 = raw.query_row("SELECT count(*) FROM judgement", [], |row| row.get(0)).unwrap();
    assert_eq!(kept, 8, "one a week, of the last eight weeks");
}

#[test]
fn a_description_names_the_field_that_cannot_be() {
    let good = UnitDescription {
        refrigerant: Some(Refrigerant::R452A),
        pressure_reference: Some(PressureReference::VentedGauge),
        altitude_m: Some(5_000.0),
        depot: "ø".repeat(64),
        family: "trailer-a".to_owned(),
        time_zone: "Europe/Lisbon".to_owned(),
        high_pressure_cut_out_kpa: Some(2_900.0),
        cadence_s: Some(86_400),
        drives: vec![Drive::Engine, Drive::Shore],
        ..UnitDescription::new(id("TR-1"))
    };
    assert_eq!(validate_description(&good), Ok(()));
    assert_eq!(validate_description(&UnitDescription::new(id("TR-1"))), Ok(()));
    let bad: Vec<(&str, Spoil<UnitDescription>)> = vec![
        ("altitude_m", Box::new(|u| u.altitude_m = Some(f64::NAN))),
        ("altitude_m", Box::new(|u| u.altitude_m = Some(-500.1))),
        ("altitude_m", Box::new(|u| u.altitude_m = Some(5_000.1))),
        ("depot", Box::new(|u| u.depot = "ø".repeat(65))),
        ("depot", Box::new(|u| u.depot = "North\n".to_owned())),
        ("family", Box::new(|u| u.family = "x".repeat(65))),
        ("time_zone", Box::new(|u| u.time_zone = "Europe/Atlantis".to_owned())),
        ("time_zone", Box::new(|u| u.time_zone = "x".repeat(10_000))),
        ("high_pressure_cut_out_kpa", Box::new(|u| u.high_pressure_cut_out_kpa = Some(f64::INFINITY))),
        ("high_pressure_cut_out_kpa", Box::new(|u| u.high_pressure_cut_out_kpa = Some(0.0))),
        ("cadence_s", Box::new(|u| u.cadence_s = Some(0))),
        ("cadence_s", Box::new(|u| u.cadence_s = Some(86_401))),
        ("drives", Box::new(|u| u.drives.push(Drive::Unknown))),
    ];
    for (field, spoil) in bad {
        let mut unit = good.clone();
        spoil(&mut unit);
        let error = validate_description(&unit).unwrap_err();
        assert_eq!(error.field, field, "{error}");
        assert!(error.to_string().len() < 200, "{error}");
    }
}

#[test]
fn a_load_names_the_field_that_cannot_be() {
    let good = load("L-1", "TR-1", CargoClass::Chilled, MONDAY, Some(MONDAY + 1));
    assert_eq!(validate_load(&good), Ok(()));
    let bad: Vec<(&str, Spoil<Load>)> = vec![
        ("until_ms", Box::new(|l| l.until = Some(l.from))),
        ("cargo_class", Box::new(|l| l.cargo_class = CargoClass::Unknown)),
        ("set_point_cel", Box::new(|l| l.set_point = f64::NAN)),
        ("set_point_cel", Box::new(|l| l.set_point = 70.1)),
        ("band_below_k", Box::new(|l| l.band_below = -0.1)),
        ("band_above_k", Box::new(|l| l.band_above = f64::INFINITY)),
    ];
    for (field, spoil) in bad {
        let mut load = good.clone();
        spoil(&mut load);
        assert_eq!(validate_load(&load).unwrap_err().field, field);
    }
}

#[test]
fn a_load_is_carried_from_its_first_moment_up_to_its_last_and_not_in_it() {
    let bounded = load("L-1", "TR-1", CargoClass::Chilled, MONDAY, Some(MONDAY + HOUR));
    let at = [MONDAY - 1, MONDAY, MONDAY + HOUR - 1, MONDAY + HOUR];
    assert_eq!(at.map(|time| bounded.covers(time)), [false, true, true, false]);
    let open = Load { until: None, ..bounded };
    assert!(open.covers(UnixMs::MAX));
}

#[test]
fn a_detector_is_told_what_the_registry_knows() {
    let unit = UnitDescription {
        refrigerant: Some(Refrigerant::R452A),
        pressure_reference: Some(PressureReference::Absolute),
        altitude_m: Some(800.0),
        fitted: vec![Channel::Coil],
        high_pressure_cut_out_kpa: Some(2_900.0),
        cadence_s: Some(60),
        family: "trailer-a".to_owned(),
        ..UnitDescription::new(id("TR-1"))
    };
    let mut carried = load("L-1", "TR-1", CargoClass::Chilled, MONDAY, None);
    carried.required_running_mode = RunningMode::Continuous;
    let setup = unit.setup(Some(&carried));
    assert_eq!((setup.altitude_m, setup.cut_out_kpa, setup.cadence_s), (800.0, Some(2_900.0), Some(60)));
    assert_eq!((setup.fitted, setup.refrigerant), (unit.fitted.clone(), unit.refrigerant));
    let within = setup.load.unwrap();
    assert_eq!((within.set_point, within.running_mode), (4.0, Some(RunningMode::Continuous)));
    carried.cargo_class = CargoClass::Empty;
    assert_eq!(unit.setup(Some(&carried)).load, None, "an empty unit has nothing to tolerate");
    assert_eq!(UnitDescription::new(id("TR-1")).setup(None), rimeline_detector::UnitSetup::default());
}

#[test]
fn detector_state_of_every_unit_is_shown_once() {
    let folder = tempfile::tempdir().unwrap();
    let book = open(&folder);
    let checkpoints =
        |tag: u8| (1..=50u8).map(|n| (id(&format!("TR-{n}")), vec![tag, n])).collect::<Vec<_>>();
    book.commit(&Step { checkpoints: checkpoints(1), ..opening(1, "TR-1") }).unwrap();
    book.commit(&Step { checkpoints: checkpoints(2), ..opening(2, "TR-1") }).unwrap();
    let mut shown = Vec::new();
    book.visit_checkpoints(&mut |unit, state| shown.push((unit, state.to_vec()))).unwrap();
    assert_eq!(shown, checkpoints(2));
    assert_eq!(book.checkpoint(&id("TR-7")).unwrap(), Some(vec![2, 7]));
    assert_eq!(book.checkpoint(&id("TR-99")).unwrap(), None);
}
