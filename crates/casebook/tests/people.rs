//! What people write is kept, and says what it cannot take.
#![allow(clippy::unwrap_used)]

mod common;

use common::{DAY, HOUR, MONDAY, act, feed_from, id, of, open, opening, signal, start, step};
use rimeline_casebook::{Action, ActionKind, Case, CaseStage, Casebook, CasebookError, SqliteCasebook, Step};
use rimeline_detector::{Condition, Standing};

const NOW: i64 = MONDAY + 2 * HOUR;

fn with_a_case(folder: &tempfile::TempDir) -> (SqliteCasebook, String) {
    let book = open(folder);
    let case_id = book.commit(&opening(1, "TR-1")).unwrap().changes[0].case.case_id.clone();
    (book, case_id)
}

fn do_it(book: &SqliteCasebook, case_id: &str, action: &Action, now: i64) -> Case {
    let recorded = book.record_action(case_id, action, now).unwrap();
    assert_eq!(recorded.case(), &book.case(case_id).unwrap().case, "what is returned is what is kept");
    recorded.change.case
}

#[test]
fn each_entry_is_kept_in_order_and_each_is_heard() {
    use ActionKind::{Acknowledge, Finding, HandOver, Note};
    let folder = tempfile::tempdir().unwrap();
    let (book, case_id) = with_a_case(&folder);
    let case = do_it(&book, &case_id, &act(ActionKind::Acknowledge, ""), NOW);
    assert_eq!(case.acknowledged_by.as_deref(), Some("night desk"));
    let other = Action { by: "Óscar, day desk".to_owned(), ..act(ActionKind::Acknowledge, "") };
    let case = do_it(&book, &case_id, &other, NOW + 1);
    assert_eq!(
        case.acknowledged_by.as_deref(),
        Some("Óscar, day desk"),
        "the later entry holds; both are kept"
    );
    do_it(&book, &case_id, &act(ActionKind::Note, "driver stops at 02:30"), NOW + 2);
    do_it(&book, &case_id, &act(ActionKind::Finding, "belt slack"), NOW + 3);
    let case = do_it(&book, &case_id, &act(ActionKind::HandOver, "call the workshop at 7"), NOW + 4);
    assert_eq!((case.acknowledged_by, case.updated), (None, NOW + 4));
    let kinds: Vec<_> = book.case(&case_id).unwrap().actions.iter().map(|a| (a.kind, a.at)).collect();
    let expected = [Acknowledge, Acknowledge, Note, Finding, HandOver];
    assert_eq!(kinds, expected.into_iter().zip(NOW..).collect::<Vec<_>>());
    assert_eq!(feed_from(&book, start()).len(), 6);
}

#[test]
fn the_server_says_when_whatever_the_entry_claims() {
    let folder = tempfile::tempdir().unwrap();
    let (book, case_id) = with_a_case(&folder);
    let forged = Action { at: 5, ..act(ActionKind::Note, "x") };
    book.record_action(&case_id, &forged, NOW).unwrap();
    assert_eq!(book.case(&case_id).unwrap().actions[0].at, NOW);
}

#[test]
fn each_limit_of_an_entry_is_named_when_it_is_passed_and_not_before() {
    let folder = tempfile::tempdir().unwrap();
    let (book, case_id) = with_a_case(&folder);
    let until = |until: i64| Action { until: Some(until), ..act(ActionKind::Shelve, "") };
    let by = |by: String| Action { by, ..act(ActionKind::Acknowledge, "") };
    let note = |text: String| Action { text, ..act(ActionKind::Note, "") };
    let refused = [
        (by(String::new()), "by"),
        (by("  ".to_owned()), "by"),
        (by("é".repeat(65)), "by"),
        (by("a\nb".to_owned()), "by"),
        (note("é".repeat(2_001)), "text"),
        (note(" \n".to_owned()), "text"),
        (act(ActionKind::HandOver, ""), "text"),
        (act(ActionKind::Finding, ""), "text"),
        (act(ActionKind::Shelve, ""), "until_ms"),
        (until(NOW), "until_ms"),
        (until(NOW + Action::MAX_SHELVE_MS + 1), "until_ms"),
        (until(i64::MAX), "until_ms"),
        (Action { until: Some(NOW + 1), ..act(ActionKind::Unshelve, "") }, "until_ms"),
    ];
    for (action, field) in &refused {
        match book.record_action(&case_id, action, NOW) {
            Err(CasebookError::Invalid(error)) => assert_eq!(&error.field, field, "{action:?}: {error}"),
            other => panic!("{action:?}: {other:?}"),
        }
    }
    assert!(book.case(&case_id).unwrap().actions.is_empty());
    let taken =
        [by("é".repeat(64)), note("é".repeat(2_000)), until(NOW + 1), until(NOW + Action::MAX_SHELVE_MS)];
    for action in &taken {
        book.record_action(&case_id, action, NOW).unwrap();
    }
    assert_eq!(book.case(&case_id).unwrap().actions.len(), taken.len());
}

#[test]
fn a_case_takes_so_many_entries_and_no_more() {
    let folder = tempfile::tempdir().unwrap();
    let (book, case_id) = with_a_case(&folder);
    let note = |n: usize| (case_id.clone(), Action { at: NOW, ..act(ActionKind::Note, &n.to_string()) });
    let actions: Vec<_> = (0..Action::MAX_PER_CASE).map(note).collect();
    let committed = book.commit(&Step { actions, ..Step::new("assess", Some(2), NOW) }).unwrap();
    assert_eq!((committed.changes.len(), committed.refused.len()), (Action::MAX_PER_CASE, 0));
    let error = book.record_action(&case_id, &act(ActionKind::Note, "one more"), NOW).unwrap_err();
    assert!(matches!(error, CasebookError::TooManyActions { limit: Action::MAX_PER_CASE, .. }), "{error}");
}

#[test]
fn a_case_that_is_not_there_or_not_shown_is_unknown() {
    let folder = tempfile::tempdir().unwrap();
    let book = open(&folder);
    let pending = signal(Condition::ShortCycling, Standing::Pending, MONDAY);
    book.commit(&step(1, vec![of("TR-1", pending)])).unwrap();
    let hidden = rimeline_casebook::case_id(&id("TR-1"), Condition::ShortCycling, None, MONDAY);
    for case_id in [hidden.as_str(), "", "no such case", &"x".repeat(100_000)] {
        for error in [
            book.case(case_id).unwrap_err(),
            book.record_action(case_id, &act(ActionKind::Note, "hello"), NOW).unwrap_err(),
        ] {
            assert!(matches!(error, CasebookError::UnknownCase(_)), "{error}");
            assert!(error.to_string().len() < 200);
        }
    }
}

#[test]
fn a_service_closes_the_case_and_is_there_for_the_detector_until_it_is_taken() {
    let folder = tempfile::tempdir().unwrap();
    let (book, case_id) = with_a_case(&folder);
    book.record_action(&case_id, &act(ActionKind::Note, "in the workshop"), NOW).unwrap();
    let recorded =
        book.record_action(&case_id, &act(ActionKind::Serviced, "new fan motor"), NOW + HOUR).unwrap();
    assert_eq!(recorded.case().stage, CaseStage::Closed);
    let service = recorded.service.unwrap();
    assert_eq!((&service.unit, service.condition), (&id("TR-1"), Condition::RisingDischargePressure));
    drop(book);
    let book = open(&folder);
    assert_eq!(
        book.services_after(book.services_taken("assess").unwrap(), 10).unwrap(),
        std::slice::from_ref(&service)
    );
    let learned = Step { services_taken: Some(service.number), ..Step::new("assess", None, NOW + 2 * HOUR) };
    book.commit(&learned).unwrap();
    assert!(book.services_after(book.services_taken("assess").unwrap(), 10).unwrap().is_empty());
    let older = Step { services_taken: Some(0), ..Step::new("assess", None, NOW + 2 * HOUR) };
    book.commit(&older).unwrap();
    assert_eq!(book.services_taken("assess").unwrap(), service.number, "a service is not untaken");

    let again = signal(Condition::RisingDischargePressure, Standing::Open, NOW + 3 * DAY);
    let case = &book.commit(&step(9, vec![of("TR-1", again)])).unwrap().changes[0].case;
    assert_ne!(case.case_id, case_id);
    assert_eq!(case.came_back, 0);
}

#[test]
fn an_entry_cannot_be_changed_or_deleted_even_past_the_casebook() {
    let folder = tempfile::tempdir().unwrap();
    let (book, case_id) = with_a_case(&folder);
    book.record_action(&case_id, &act(ActionKind::Note, "as it was"), NOW).unwrap();
    let raw = rusqlite::Connection::open(folder.path().join("casebook.db")).unwrap();
    assert!(raw.execute("UPDATE action SET text = 'as I like it'", []).is_err());
    assert!(raw.execute("DELETE FROM action", []).is_err());
    assert_eq!(book.case(&case_id).unwrap().actions[0].text, "as it was");
}

#[test]
fn people_and_steps_at_the_same_time_lose_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let (book, case_id) = with_a_case(&folder);
    std::thread::scope(|threads| {
        for desk in 0..3 {
            let (book, case_id) = (&book, &case_id);
            threads.spawn(move || {
                for n in 0..20 {
                    let note = Action { by: format!("desk {desk}"), ..act(ActionKind::Note, &n.to_string()) };
                    book.record_action(case_id, &note, NOW).unwrap();
                }
            });
        }
        for position in 2..=21 {
            book.commit(&opening(position, &format!("TR-{position}"))).unwrap();
            book.case(&case_id).unwrap();
        }
    });
    assert_eq!(book.case(&case_id).unwrap().actions.len(), 60);
    let sequences: Vec<_> = feed_from(&book, start()).into_iter().map(|(n, _)| n).collect();
    assert_eq!(sequences, (1..=81).collect::<Vec<_>>());
}
