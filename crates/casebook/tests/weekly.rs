//! The planner's list of a week.
#![allow(clippy::unwrap_used)]

mod common;

use common::{DAY, EPOCH, HOUR, MONDAY, act, id, in_depot, load, of, open, open_with, signal, step};
use rimeline_casebook::{
    ActionKind, CargoClass, CaseStage, Casebook, Options, RegistryChange, SqliteCasebook, Step, WeeklyList,
};
use rimeline_channels::UnixMs;
use rimeline_detector::{Condition, Judgement, Signal, Standing, Verdict};

const NEXT_MONDAY: UnixMs = MONDAY + 7 * DAY;

fn list(book: &SqliteCasebook) -> WeeklyList {
    book.week(MONDAY, NEXT_MONDAY, None).unwrap().list()
}

fn units(list: &WeeklyList) -> Vec<&str> {
    list.items.iter().map(|item| item.unit.as_str()).collect()
}

fn judged(unit: &str, verdicts: &[(Condition, Verdict)]) -> (rimeline_channels::Id, Vec<Judgement>) {
    let judgement = |&(condition, verdict): &(Condition, Verdict)| Judgement {
        condition,
        verdict,
        reason: format!("{condition} for a reason"),
        able_to_decide: 0.5,
    };
    (id(unit), verdicts.iter().map(judgement).collect())
}

fn forecast(days_early: f64, at: UnixMs) -> Signal {
    let mut signal = signal(Condition::RisingDischargePressure, Standing::Open, at);
    signal.evidence.days_to_limit = Some(days_early * 2.0);
    signal.evidence.days_to_limit_early = Some(days_early);
    signal
}

#[test]
fn the_most_pressing_unit_comes_first_with_everything_found_on_it() {
    let folder = tempfile::tempdir().unwrap();
    let book = open(&folder);
    let at = MONDAY + DAY;
    let cycling = |standing| Signal {
        headline: "9 starts an hour".to_owned(),
        ..signal(Condition::ShortCycling, standing, at)
    };
    let said = vec![
        of("TR-1", cycling(Standing::Open)),
        of("TR-2", forecast(9.0, at)),
        of("TR-2", cycling(Standing::Open)),
        of("TR-3", forecast(3.0, at)),
    ];
    book.commit(&Step { registry: vec![in_depot("TR-2", "North")], ..step(1, said) }).unwrap();
    let list = list(&book);
    assert_eq!(units(&list), ["TR-3", "TR-2", "TR-1"]);
    assert_eq!(list.items.iter().map(|item| item.rank).collect::<Vec<_>>(), [1, 2, 3]);
    assert_eq!(list.items[0].before, Some(NEXT_MONDAY), "a date that has passed is the end of the week");
    assert_eq!(list.items[1].before, Some(at + 9 * DAY), "the early end of the forecast");
    assert_eq!(list.items[2].before, Some(at + 28 * DAY), "no forecast: by priority");
    let second = &list.items[1];
    assert_eq!((second.cases.len(), second.depot.as_str()), (2, "North"));
    assert!(second.why.contains("6 K above what it was (likely); one more finding"), "{}", second.why);
    assert!(second.bring_in_for.contains("condenser") && second.bring_in_for.contains("ends the runs"));
    let only = book.week(MONDAY, NEXT_MONDAY, Some("North")).unwrap().list();
    assert_eq!(units(&only), ["TR-2"]);
    assert_eq!(only.items[0].rank, 1);
}

#[test]
fn of_one_date_the_load_worth_more_comes_first() {
    let folder = tempfile::tempdir().unwrap();
    let book = open(&folder);
    let put = |name: &str, unit: &str, class| RegistryChange::PutLoad(load(name, unit, class, MONDAY, None));
    let registry = vec![
        put("L-1", "TR-1", CargoClass::Frozen),
        put("L-2", "TR-2", CargoClass::Pharma),
        put("L-3", "TR-3", CargoClass::Empty),
    ];
    let said = ["TR-3", "TR-1", "TR-2"].map(|unit| of(unit, forecast(20.0, MONDAY + DAY)));
    book.commit(&Step { registry, ..step(1, said.to_vec()) }).unwrap();
    let list = list(&book);
    assert_eq!(units(&list), ["TR-2", "TR-1", "TR-3"]);
    let cargo: Vec<_> = list.items.iter().map(|item| item.usual_cargo).collect();
    assert_eq!(cargo, [CargoClass::Pharma, CargoClass::Frozen, CargoClass::Empty]);
}

#[test]
fn what_cleared_for_good_is_no_work_and_what_comes_and_goes_is() {
    let folder = tempfile::tempdir().unwrap();
    let book = open(&folder);
    let said = |unit: &str, standing, day: i64| {
        of(unit, signal(Condition::ShortCycling, standing, MONDAY + day * DAY))
    };
    book.commit(&step(
        1,
        vec![
            said("gone", Standing::Open, 1),
            said("gone", Standing::Clear, 2),
            said("again", Standing::Open, 1),
            said("again", Standing::Clear, 2),
            said("again", Standing::Open, 3),
            said("again", Standing::Clear, 4),
            said("before", Standing::Open, -3),
            said("before", Standing::Clear, -1),
            said("after", Standing::Open, 7),
        ],
    ))
    .unwrap();
    let list = list(&book);
    assert_eq!(units(&list), ["again"]);
    assert!(list.items[0].why.contains("came back once"), "{}", list.items[0].why);
    let case_id = list.items[0].cases[0].case_id.clone();
    book.record_action(&case_id, &act(ActionKind::Serviced, "sensor moved"), MONDAY + 5 * DAY).unwrap();
    assert!(self::list(&book).items.is_empty(), "once repaired it is no work");
}

#[test]
fn a_case_that_was_gone_in_the_span_and_came_back_after_it_is_not_of_the_span() {
    let folder = tempfile::tempdir().unwrap();
    let book = open(&folder);
    let said =
        |standing, hours: i64| of("TR-1", signal(Condition::ShortCycling, standing, MONDAY + hours * HOUR));
    let (open, clear) = (Standing::Open, Standing::Clear);
    let story = vec![said(open, 1), said(clear, 5), said(open, 8), said(clear, 20), said(open, 60)];
    book.commit(&step(1, story)).unwrap();
    let days = |from: i64, until: i64| {
        let week = book.week(MONDAY + from * DAY, MONDAY + until * DAY, None).unwrap();
        week.list().items.len()
    };
    assert_eq!((days(0, 1), days(1, 2), days(2, 3)), (1, 0, 1));
}

#[test]
fn a_week_that_is_over_gives_the_same_list_whatever_happened_since() {
    let folder = tempfile::tempdir().unwrap();
    let book = open(&folder);
    let first = Step {
        judgements: vec![
            judged("TR-1", &[(Condition::Silent, Verdict::Quiet)]),
            judged("TR-2", &[(Condition::Silent, Verdict::Quiet)]),
            judged("TR-3", &[(Condition::Silent, Verdict::Learning)]),
        ],
        ..step(1, vec![of("TR-1", forecast(9.0, MONDAY + DAY))])
    };
    let case_id = book.commit(&first).unwrap().changes[0].case.case_id.clone();
    let then = list(&book);
    assert_eq!(then, list(&book));
    assert_eq!((then.items.len(), then.not_judged.len(), then.healthy_units), (1, 1, 1));

    let later = Step {
        judgements: vec![judged("TR-3", &[(Condition::Silent, Verdict::Quiet)])],
        ..step(
            2,
            vec![
                of("TR-1", forecast(1.0, NEXT_MONDAY + HOUR)),
                of("TR-2", forecast(1.0, NEXT_MONDAY + HOUR)),
                of("TR-9", forecast(1.0, NEXT_MONDAY + HOUR)),
            ],
        )
    };
    book.commit(&later).unwrap();
    book.record_action(&case_id, &act(ActionKind::Serviced, "cleaned"), NEXT_MONDAY + 2 * HOUR).unwrap();
    assert_eq!(list(&book), then);
    let next = book.week(NEXT_MONDAY, NEXT_MONDAY + 7 * DAY, None).unwrap().list();
    assert_eq!(units(&next), ["TR-2", "TR-9"]);
}

#[test]
fn a_past_case_whose_changes_are_no_longer_kept_stands_as_far_as_is_known() {
    let folder = tempfile::tempdir().unwrap();
    let book = open_with(&folder, Options { kept_changes: 1, ..Options::new(EPOCH) });
    book.commit(&step(1, vec![of("TR-1", forecast(9.0, MONDAY + DAY))])).unwrap();
    let cleared = signal(Condition::RisingDischargePressure, Standing::Clear, NEXT_MONDAY + DAY);
    book.commit(&step(2, vec![of("TR-1", cleared)])).unwrap();
    book.commit(&step(3, vec![of("TR-2", forecast(9.0, NEXT_MONDAY + DAY))])).unwrap();
    let list = list(&book);
    assert_eq!(units(&list), ["TR-1"]);
    assert_eq!((list.items[0].cases[0].stage, list.items[0].cases[0].cleared), (CaseStage::Open, None));
}

#[test]
fn what_could_not_be_judged_is_said_with_its_reason() {
    let folder = tempfile::tempdir().unwrap();
    let book = open(&folder);
    let judgements = vec![
        judged("some", &[(Condition::WeakCooling, Verdict::Abstains), (Condition::Silent, Verdict::Quiet)]),
        judged(
            "none",
            &[(Condition::WeakCooling, Verdict::Learning), (Condition::Silent, Verdict::Abstains)],
        ),
        judged("sick", &[(Condition::WeakCooling, Verdict::Flagged), (Condition::Silent, Verdict::Abstains)]),
    ];
    let registry = vec![in_depot("mute", "North")];
    let sick = signal(Condition::Silent, Standing::Open, MONDAY + DAY);
    book.commit(&Step { judgements, registry, ..step(1, vec![of("sick", sick)]) }).unwrap();
    let list = list(&book);
    let told: Vec<_> =
        list.not_judged.iter().map(|n| (n.unit.as_str(), n.condition, n.reason.as_str())).collect();
    assert_eq!(
        told,
        [
            ("mute", None, "Nothing was judged: it has not reported enough."),
            ("none", None, "No test could decide. Weak cooling: weak_cooling for a reason"),
            ("some", Some(Condition::WeakCooling), "weak_cooling for a reason"),
        ],
        "a test that stands open on a unit has judged it"
    );
    assert_eq!(list.healthy_units, 1, "`some`: one test decided and nothing was found");
}

#[test]
fn an_empty_casebook_has_an_empty_list() {
    let folder = tempfile::tempdir().unwrap();
    let list = list(&open(&folder));
    assert_eq!(list, WeeklyList { from: MONDAY, until: NEXT_MONDAY, ..WeeklyList::default() });
}
