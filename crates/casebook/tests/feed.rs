//! Followers of the feed neither miss nor repeat a change.
#![allow(clippy::unwrap_used)]

mod common;

use common::{
    EPOCH, HOUR, MONDAY, act, feed_from, in_depot, load, of, open, open_with, opening, signal, start, step,
};
use rimeline_casebook::{
    ActionKind, CargoClass, CaseFilter, CaseStage, Casebook, Changes, Cursor, Options, Priority,
    RegistryChange, Step,
};
use rimeline_detector::{Condition, Standing};

#[test]
fn a_follower_goes_on_after_its_cursor_without_skip_or_repeat_across_reopening() {
    let folder = tempfile::tempdir().unwrap();
    let mut heard = Vec::new();
    let mut cursor = start();
    for position in 1..=12 {
        let book = open(&folder);
        let committed = book.commit(&opening(position, &format!("TR-{position}"))).unwrap();
        if position % 3 == 0 {
            let news = feed_from(&book, cursor);
            heard.extend(news.into_iter().map(|(sequence, case)| (sequence, case.unit)));
            cursor = book.cursor().unwrap();
            assert_eq!(cursor, committed.changes[0].cursor);
        }
    }
    let expected: Vec<_> = (1..=12).map(|n| (n, common::id(&format!("TR-{n}")))).collect();
    assert_eq!(heard, expected);
}

#[test]
fn a_snapshot_and_the_feed_after_it_are_one_story() {
    let folder = tempfile::tempdir().unwrap();
    let book = open(&folder);
    book.commit(&opening(1, "TR-1")).unwrap();
    let snapshot = book.cases(&CaseFilter::default(), MONDAY).unwrap();
    assert_eq!((snapshot.cases.len(), snapshot.cursor.sequence), (1, 1));
    book.commit(&opening(2, "TR-2")).unwrap();
    let cleared = signal(Condition::RisingDischargePressure, Standing::Clear, MONDAY + 2 * HOUR);
    book.commit(&step(3, vec![of("TR-1", cleared)])).unwrap();
    let after = feed_from(&book, snapshot.cursor);
    assert_eq!(after.len(), 2);
    assert_eq!((after[1].0, after[1].1.stage), (3, CaseStage::Closed));
    assert_eq!(book.cases(&CaseFilter::default(), MONDAY).unwrap().cases.len(), 1);
}

#[test]
fn a_foreign_cursor_and_one_from_the_future_are_out_of_range() {
    let folder = tempfile::tempdir().unwrap();
    let book = open(&folder);
    book.commit(&opening(1, "TR-1")).unwrap();
    for cursor in [
        Cursor { epoch: EPOCH + 1, sequence: 0 },
        Cursor { epoch: EPOCH, sequence: 2 },
        Cursor { epoch: EPOCH, sequence: u64::MAX },
    ] {
        assert_eq!(book.changes_after(cursor, 10).unwrap(), Changes::OutOfRange, "{cursor:?}");
    }
    let newest = Cursor { epoch: EPOCH, sequence: 1 };
    assert_eq!(book.changes_after(newest, 10).unwrap(), Changes::Page(Vec::new()));
}

#[test]
fn changes_beyond_those_kept_are_dropped_and_an_older_cursor_is_out_of_range() {
    let folder = tempfile::tempdir().unwrap();
    let book = open_with(&folder, Options { kept_changes: 4, ..Options::new(EPOCH) });
    for position in 1..=10 {
        book.commit(&opening(position, &format!("TR-{position}"))).unwrap();
    }
    let oldest = Cursor { epoch: EPOCH, sequence: 6 };
    assert_eq!(feed_from(&book, oldest).iter().map(|(n, _)| *n).collect::<Vec<_>>(), [7, 8, 9, 10]);
    let older = Cursor { epoch: EPOCH, sequence: 5 };
    assert_eq!(book.changes_after(older, 10).unwrap(), Changes::OutOfRange);
    assert_eq!(book.cases(&CaseFilter::default(), MONDAY).unwrap().cases.len(), 10, "cases themselves stay");
    drop(book);
    let book = open_with(&folder, Options { kept_changes: 0, ..Options::new(EPOCH) });
    book.commit(&opening(11, "TR-11")).unwrap();
    assert_eq!(book.cursor().unwrap().sequence, 11, "one change is always kept, and places go on");
}

#[test]
fn first_signs_are_no_change_and_do_not_show() {
    let folder = tempfile::tempdir().unwrap();
    let book = open(&folder);
    let pending = signal(Condition::ShortCycling, Standing::Pending, MONDAY + HOUR);
    let committed = book.commit(&step(1, vec![of("TR-1", pending)])).unwrap();
    assert!(committed.changes.is_empty());
    let all = CaseFilter { include_closed: true, include_shelved: true, ..CaseFilter::default() };
    assert!(book.cases(&all, MONDAY).unwrap().cases.is_empty());
    let cleared = signal(Condition::ShortCycling, Standing::Clear, MONDAY + 2 * HOUR);
    assert!(book.commit(&step(2, vec![of("TR-1", cleared)])).unwrap().changes.is_empty());
}

#[test]
fn the_list_follows_depot_unit_cargo_priority_and_stage() {
    let folder = tempfile::tempdir().unwrap();
    let book = open(&folder);
    let harm = |unit: &str, standing| of(unit, signal(Condition::WeakCooling, standing, MONDAY + HOUR));
    let step = Step {
        registry: vec![
            in_depot("TR-1", "North"),
            in_depot("TR-2", "South"),
            RegistryChange::PutLoad(load("L-2", "TR-2", CargoClass::Pharma, MONDAY, None)),
        ],
        ..step(
            1,
            vec![
                harm("TR-1", Standing::Open),
                harm("TR-2", Standing::Escalated),
                harm("TR-3", Standing::Open),
            ],
        )
    };
    book.commit(&step).unwrap();
    let closing = signal(Condition::WeakCooling, Standing::Clear, MONDAY + 2 * HOUR);
    book.commit(&common::step(2, vec![of("TR-3", closing)])).unwrap();
    let units = |filter: CaseFilter| -> Vec<String> {
        let found = book.cases(&filter, MONDAY + 2 * HOUR).unwrap().cases;
        found.iter().map(|case| case.unit.to_string()).collect()
    };
    let all = CaseFilter::default;
    assert_eq!(units(all()), ["TR-2", "TR-1"], "what presses most comes first");
    assert_eq!(units(CaseFilter { depots: vec!["North".to_owned()], ..all() }), ["TR-1"]);
    assert_eq!(units(CaseFilter { units: vec![common::id("TR-1"), common::id("TR-1")], ..all() }), ["TR-1"]);
    assert_eq!(units(CaseFilter { cargo_classes: vec![CargoClass::Pharma], ..all() }), ["TR-2"]);
    assert_eq!(units(CaseFilter { least_priority: Some(Priority::High), ..all() }), ["TR-2"]);
    assert_eq!(units(CaseFilter { include_closed: true, ..all() }), ["TR-2", "TR-1", "TR-3"]);
    let closed_of = CaseFilter { units: vec![common::id("TR-3")], include_closed: true, ..all() };
    assert_eq!(units(closed_of), ["TR-3"]);
}

#[test]
fn closed_cases_are_listed_up_to_the_limit_the_last_changed_first() {
    let folder = tempfile::tempdir().unwrap();
    let book = open_with(&folder, Options { listed_closed: 2, ..Options::new(EPOCH) });
    for n in 1..=4 {
        let unit = format!("TR-{n}");
        let at = MONDAY + n as i64 * HOUR;
        let said = [Standing::Open, Standing::Clear].map(|s| of(&unit, signal(Condition::Silent, s, at)));
        book.commit(&step(n, said.to_vec())).unwrap();
    }
    let all = CaseFilter { include_closed: true, ..CaseFilter::default() };
    let found = book.cases(&all, MONDAY + 9 * HOUR).unwrap().cases;
    assert_eq!(found.iter().map(|case| case.unit.as_str()).collect::<Vec<_>>(), ["TR-4", "TR-3"]);
}

#[test]
fn a_shelved_case_is_off_the_list_until_its_time_by_the_clock_given() {
    let folder = tempfile::tempdir().unwrap();
    let book = open(&folder);
    let case_id = book.commit(&opening(1, "TR-1")).unwrap().changes[0].case.case_id.clone();
    let mut shelve = act(ActionKind::Shelve, "workshop on Tuesday");
    shelve.until = Some(MONDAY + 10 * HOUR);
    book.record_action(&case_id, &shelve, MONDAY + 2 * HOUR).unwrap();
    let listed = |filter: &CaseFilter, now| book.cases(filter, now).unwrap().cases.len();
    assert_eq!(listed(&CaseFilter::default(), MONDAY + 10 * HOUR - 1), 0);
    assert_eq!(listed(&CaseFilter::default(), MONDAY + 10 * HOUR), 1);
    let with_shelved = CaseFilter { include_shelved: true, ..CaseFilter::default() };
    assert_eq!(listed(&with_shelved, MONDAY + 3 * HOUR), 1);
    book.record_action(&case_id, &act(ActionKind::Unshelve, ""), MONDAY + 3 * HOUR).unwrap();
    assert_eq!(listed(&CaseFilter::default(), MONDAY + 3 * HOUR), 1);
    assert_eq!(feed_from(&book, start()).len(), 3, "followers hear of each");
}
