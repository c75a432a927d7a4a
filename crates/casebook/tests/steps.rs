//! Steps are written as a whole, once, and survive.
#![allow(clippy::unwrap_used)]

mod common;

use std::fs;

use common::{
    DAY, EPOCH, HOUR, MONDAY, act, feed_from, id, in_depot, load, of, open, opening, signal, start, step,
};
use rimeline_casebook::{
    ActionKind, CargoClass, CaseFilter, CaseStage, Casebook, CasebookError, LastValue, Options,
    RegistryChange, Seen, SqliteCasebook, Step,
};
use rimeline_channels::{Channel, State, Value};
use rimeline_detector::{Condition, Judgement, Mark, Standing, Verdict};

fn everything(position: u64) -> Step {
    Step {
        registry: vec![
            in_depot("TR-1", "North"),
            RegistryChange::PutLoad(load("L-1", "TR-1", CargoClass::Chilled, MONDAY, None)),
        ],
        marks: vec![(
            id("TR-1"),
            Mark { channel: Channel::Coil, at: MONDAY, value: 9.0, expected: 2.5, what: "jumped".to_owned() },
        )],
        checkpoints: vec![(id("TR-1"), vec![7; 3_000])],
        fleet_checkpoint: Some(vec![1, 2, 3]),
        seen: vec![Seen {
            unit: id("TR-1"),
            last_reading: MONDAY + HOUR,
            rows: 60,
            not_assessed: 2,
            last_values: vec![LastValue::new(Channel::Coil, Value::Number(-23), MONDAY + HOUR)],
            last_state: State { inputs: 5, ..State::default() },
        }],
        judgements: vec![(
            id("TR-1"),
            vec![Judgement {
                condition: Condition::ShortCycling,
                verdict: Verdict::Learning,
                reason: "12 of 21 days".to_owned(),
                able_to_decide: 0.4,
            }],
        )],
        services_taken: Some(3),
        ..opening(position, "TR-1")
    }
}

/// All a casebook can be asked about TR-1.
fn all_of(book: &SqliteCasebook) -> impl PartialEq + std::fmt::Debug + use<> {
    let unit = id("TR-1");
    let filter = CaseFilter { include_closed: true, include_shelved: true, ..CaseFilter::default() };
    let cases = book.cases(&filter, MONDAY).unwrap();
    let files: Vec<_> = cases.cases.iter().map(|case| book.case(&case.case_id).unwrap()).collect();
    let mut states = Vec::new();
    book.visit_checkpoints(&mut |unit, state| states.push((unit, state.to_vec()))).unwrap();
    (
        (book.position("assess").unwrap(), book.services_taken("assess").unwrap(), cases, files, states),
        (book.unit(&unit).unwrap(), book.loads(None).unwrap(), book.units(None).unwrap()),
        (book.marks(&unit).unwrap(), book.judgements(&unit).unwrap(), book.fleet_checkpoint().unwrap()),
        feed_from(book, start()),
        book.week(MONDAY, MONDAY + 7 * DAY, None).unwrap().list(),
    )
}

#[test]
fn a_step_that_was_taken_already_changes_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let book = open(&folder);
    let first = book.commit(&everything(10)).unwrap();
    assert_eq!(first.changes.len(), 1);
    let before = all_of(&book);
    for position in [10, 9, 0] {
        let again = book.commit(&everything(position)).unwrap();
        assert!(again.repeated && again.changes.is_empty());
        assert_eq!(all_of(&book), before);
    }
    let other = Step { role: "other".to_owned(), ..opening(4, "TR-2") };
    assert!(!book.commit(&other).unwrap().repeated, "each role has its own position");
    assert_eq!((book.position("assess").unwrap(), book.position("other").unwrap()), (10, 4));
}

#[test]
fn what_was_said_before_is_said_again_after_reopening() {
    let folder = tempfile::tempdir().unwrap();
    let book = open(&folder);
    let case_id = book.commit(&everything(10)).unwrap().changes[0].case.case_id.clone();
    book.record_action(&case_id, &act(ActionKind::Note, "driver called, display reads 6"), MONDAY + 2 * HOUR)
        .unwrap();
    let before = all_of(&book);
    drop(book);
    let options = Options { epoch: EPOCH + 1, ..Options::new(0) };
    let book = SqliteCasebook::open(&folder.path().join("casebook.db"), options).unwrap();
    assert_eq!(all_of(&book), before);
    assert_eq!(book.cursor().unwrap().epoch, EPOCH, "an existing casebook keeps its epoch");
}

#[test]
fn a_step_of_passing_time_is_always_taken_and_moves_no_position() {
    let folder = tempfile::tempdir().unwrap();
    let book = open(&folder);
    book.commit(&opening(10, "TR-1")).unwrap();
    let mut tick = step(0, vec![of("TR-2", signal(Condition::Silent, Standing::Open, MONDAY + 2 * HOUR))]);
    tick.position = None;
    assert_eq!(book.commit(&tick).unwrap().changes.len(), 1);
    assert_eq!(book.position("assess").unwrap(), 10);
    assert!(book.commit(&tick).unwrap().changes.is_empty(), "what is already so is no change");
}

/// The log is cut at every kind of place a power cut can leave it: what is found is some whole step, with everything
/// that belongs to it and nothing of the next.
#[test]
fn after_a_power_cut_the_casebook_stands_between_two_steps() {
    let folder = tempfile::tempdir().unwrap();
    let book = open(&folder);
    for position in 1..=6 {
        book.commit(&Step {
            checkpoints: vec![(id("TR-1"), vec![position as u8; 3_000])],
            ..opening(position, &format!("TR-{position}"))
        })
        .unwrap();
    }
    let file = fs::read(folder.path().join("casebook.db")).unwrap();
    let log = fs::read(folder.path().join("casebook.db-wal")).unwrap();
    let mut found = std::collections::BTreeSet::new();
    for cut in (0..=log.len()).step_by(6_007).chain([log.len() - 1, log.len()]) {
        let after = tempfile::tempdir().unwrap();
        fs::write(after.path().join("casebook.db"), &file).unwrap();
        fs::write(after.path().join("casebook.db-wal"), &log[..cut]).unwrap();
        let book = open(&after);
        let position = book.position("assess").unwrap();
        found.insert(position);
        let cases = book.cases(&CaseFilter::default(), MONDAY).unwrap();
        assert_eq!(cases.cases.len() as u64, position, "cut at {cut}");
        assert_eq!(cases.cursor.sequence, position, "cut at {cut}");
        let state = book.checkpoint(&id("TR-1")).unwrap();
        assert_eq!(state, (position > 0).then(|| vec![position as u8; 3_000]), "cut at {cut}");
        for again in 1..=6 {
            book.commit(&opening(again, &format!("TR-{again}"))).unwrap();
        }
        assert_eq!(book.cursor().unwrap().sequence, 6, "cut at {cut}: no case twice, no sequence twice");
    }
    assert_eq!(found.last(), Some(&6), "the whole log holds every step");
    assert!(found.len() > 3, "cuts met several steps: {found:?}");
}

#[test]
fn what_returned_is_in_the_files_as_they_lie_on_disk() {
    let folder = tempfile::tempdir().unwrap();
    let book = open(&folder);
    let case_id = book.commit(&opening(1, "TR-1")).unwrap().changes[0].case.case_id.clone();
    book.record_action(&case_id, &act(ActionKind::Finding, "belt slack"), MONDAY + 2 * HOUR).unwrap();
    let after = tempfile::tempdir().unwrap();
    for name in ["casebook.db", "casebook.db-wal"] {
        fs::copy(folder.path().join(name), after.path().join(name)).unwrap();
    }
    let found = open(&after).case(&case_id).unwrap();
    assert_eq!(found.actions[0].text, "belt slack");
    drop(book);
}

#[test]
fn a_part_that_cannot_be_taken_is_named_and_the_rest_of_the_step_is_taken() {
    let folder = tempfile::tempdir().unwrap();
    let book = open(&folder);
    let mut wrong = load("L-9", "TR-9", CargoClass::Frozen, MONDAY, Some(MONDAY - 1));
    wrong.band_below = f64::NAN;
    let step = Step {
        registry: vec![RegistryChange::PutLoad(wrong), in_depot("TR-1", "North"), in_depot("TR-2", " North")],
        actions: vec![("0000-0000-0000".to_owned(), act(ActionKind::Note, "where is it?"))],
        ..opening(1, "TR-1")
    };
    let committed = book.commit(&step).unwrap();
    assert_eq!(committed.refused.len(), 3, "{:?}", committed.refused);
    assert!(committed.refused[0].contains("load L-9: until_ms"), "{:?}", committed.refused);
    assert!(committed.refused[1].contains("TR-2: depot"), "{:?}", committed.refused);
    assert!(committed.refused[2].contains("no case `0000-0000-0000`"), "{:?}", committed.refused);
    assert_eq!(committed.changes[0].case.depot, "North");
    assert_eq!(book.position("assess").unwrap(), 1);
}

#[test]
fn detector_state_beyond_its_bound_is_an_error_and_nothing_of_the_step_is_written() {
    let folder = tempfile::tempdir().unwrap();
    let book = open(&folder);
    let largest = vec![(id("TR-1"), vec![0; Step::MAX_CHECKPOINT])];
    book.commit(&Step { checkpoints: largest, ..opening(1, "TR-1") }).unwrap();
    let before = all_of(&book);
    let larger = vec![(id("TR-2"), vec![0; Step::MAX_CHECKPOINT + 1])];
    let fleet = Some(vec![0; Step::MAX_FLEET_CHECKPOINT + 1]);
    for step in [
        Step { checkpoints: larger, ..opening(2, "TR-2") },
        Step { fleet_checkpoint: fleet, ..opening(2, "TR-2") },
    ] {
        let error = book.commit(&step).unwrap_err();
        assert!(matches!(error, CasebookError::TooLarge { .. }), "{error}");
        assert_eq!(all_of(&book), before);
    }
}

#[test]
fn a_service_that_comes_with_a_step_closes_the_case_before_older_signals_are_heard() {
    let folder = tempfile::tempdir().unwrap();
    let book = open(&folder);
    let case_id = book.commit(&opening(1, "TR-1")).unwrap().changes[0].case.case_id.clone();
    let mut serviced = act(ActionKind::Serviced, "new fan motor");
    serviced.at = MONDAY + 5 * HOUR;
    let late = signal(Condition::RisingDischargePressure, Standing::Escalated, MONDAY + 4 * HOUR);
    let step = Step { actions: vec![(case_id.clone(), serviced)], ..step(2, vec![of("TR-1", late)]) };
    let committed = book.commit(&step).unwrap();
    assert_eq!(committed.changes.len(), 1);
    assert_eq!(committed.changes[0].case.stage, CaseStage::Closed);
    assert_eq!(committed.services, book.services_after(0, 10).unwrap());
    assert_eq!(committed.services[0].case_id, case_id);
}

#[test]
fn a_file_of_a_newer_version_is_left_alone() {
    let folder = tempfile::tempdir().unwrap();
    drop(open(&folder));
    let path = folder.path().join("casebook.db");
    let raw = rusqlite::Connection::open(&path).unwrap();
    raw.pragma_update(None, "user_version", 99).unwrap();
    let error = SqliteCasebook::open(&path, Options::new(1)).unwrap_err();
    assert!(matches!(error, CasebookError::Newer), "{error}");
}

#[test]
fn a_file_that_is_no_casebook_and_a_folder_that_is_missing_are_told_apart_from_a_casebook() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("casebook.db");
    fs::write(&path, vec![0x42; 8_192]).unwrap();
    let error = SqliteCasebook::open(&path, Options::new(1)).unwrap_err();
    assert!(matches!(error, CasebookError::Store { .. }), "{error}");
    let missing = folder.path().join("missing").join("casebook.db");
    assert!(
        SqliteCasebook::open(&missing, Options::new(1)).unwrap_err().to_string().contains("opening the file")
    );
}
