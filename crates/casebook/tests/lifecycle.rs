//! The life of a case, signal by signal.
#![allow(clippy::unwrap_used)]

mod common;

use common::{DAY, HOUR, MONDAY, act, id, signal};
use rimeline_casebook::{
    Action, ActionKind, Applied, CargoClass, Case, CaseContext, CaseStage, Desk, MAX_SERIES_POINTS, Priority,
    apply,
};
use rimeline_channels::{Channel, Id, UnixMs};
use rimeline_detector::{Condition, Standing};

const CONDITION: Condition = Condition::RisingDischargePressure;

fn said(existing: Option<&Case>, standing: Standing, at: UnixMs) -> Applied {
    said_with(existing, standing, at, CargoClass::Unknown, false)
}

fn said_with(
    existing: Option<&Case>,
    standing: Standing,
    at: UnixMs,
    cargo_class: CargoClass,
    late: bool,
) -> Applied {
    let unit: Id = id("TR-1");
    let context = CaseContext { unit: &unit, depot: "North", cargo_class, late };
    apply(existing, &signal(CONDITION, standing, at), &context)
}

fn case(applied: Applied) -> Case {
    match applied {
        Applied::Case(case) => *case,
        other => panic!("{other:?} is no case"),
    }
}

/// A case that came to a stage by the shortest way.
fn at_stage(stage: CaseStage) -> Case {
    let open = || case(said(None, Standing::Open, MONDAY + HOUR));
    match stage {
        CaseStage::Pending => case(said(None, Standing::Pending, MONDAY + HOUR)),
        CaseStage::Open => open(),
        CaseStage::Escalated => case(said(None, Standing::Escalated, MONDAY + HOUR)),
        CaseStage::Clearing => case(said(Some(&open()), Standing::Pending, MONDAY + HOUR)),
        CaseStage::Closed => case(said(Some(&open()), Standing::Clear, MONDAY + HOUR)),
    }
}

#[test]
fn each_stage_and_standing_lead_where_the_table_says() {
    use CaseStage::{Clearing, Closed, Escalated, Open, Pending};
    let table = [
        (Pending, [Some(Pending), Some(Open), Some(Escalated), None]),
        (Open, [Some(Clearing), Some(Open), Some(Escalated), Some(Closed)]),
        (Escalated, [Some(Clearing), Some(Escalated), Some(Escalated), Some(Closed)]),
        (Clearing, [Some(Clearing), Some(Open), Some(Escalated), Some(Closed)]),
    ];
    let standings = [Standing::Pending, Standing::Open, Standing::Escalated, Standing::Clear];
    for (stage, expected) in table {
        let before = at_stage(stage);
        assert_eq!(before.stage, stage);
        for (standing, expected) in standings.into_iter().zip(expected) {
            let after = said(Some(&before), standing, MONDAY + 2 * HOUR);
            match expected {
                None => assert_eq!(after, Applied::Dropped, "{stage} {standing:?}"),
                Some(expected) => {
                    let after = case(after);
                    assert_eq!(after.stage, expected, "{stage} {standing:?}");
                    assert_eq!(
                        after.case_id, before.case_id,
                        "{stage} {standing:?}: one case for its whole life"
                    );
                    assert_eq!(after.cleared.is_some(), expected == Closed, "{stage} {standing:?}");
                    assert_eq!(after.came_back, 0);
                }
            }
        }
    }
    assert_eq!(said(None, Standing::Clear, MONDAY), Applied::Unchanged, "what never stood cannot clear");
}

#[test]
fn a_closed_case_still_says_what_it_was_and_why_it_cleared() {
    let open = at_stage(CaseStage::Open);
    let mut clear = signal(CONDITION, Standing::Clear, MONDAY + 9 * HOUR);
    clear.headline = "back within 1 K of what it was".to_owned();
    clear.evidence = rimeline_detector::Evidence::default();
    let unit = id("TR-1");
    let context = CaseContext { unit: &unit, depot: "North", cargo_class: CargoClass::Unknown, late: false };
    let closed = case(apply(Some(&open), &clear, &context));
    assert_eq!((&closed.headline, closed.cleared), (&open.headline, Some(MONDAY + 9 * HOUR)));
    assert_eq!(closed.evidence.series, open.evidence.series);
    let last = closed.evidence.statements.last().unwrap();
    assert_eq!(last, "Cleared: back within 1 K of what it was");
}

#[test]
fn first_signs_are_kept_and_not_raised() {
    let pending = at_stage(CaseStage::Pending);
    assert!(!pending.is_visible());
    assert_eq!(pending.raised, None);
    let open = case(said(Some(&pending), Standing::Open, MONDAY + 3 * HOUR));
    assert_eq!((open.raised, open.onset), (Some(MONDAY + 3 * HOUR), MONDAY));
    assert_eq!(open.depot, "North");
}

#[test]
fn a_condition_that_returns_within_seven_days_is_the_same_case_and_later_is_another() {
    let closed = at_stage(CaseStage::Closed);
    let cleared = closed.cleared.unwrap();
    for standing in [Standing::Open, Standing::Escalated] {
        let again = case(said(Some(&closed), standing, cleared + 7 * DAY));
        assert_eq!((again.case_id.as_str(), again.came_back), (closed.case_id.as_str(), 1), "{standing:?}");
        assert_eq!((again.cleared, again.onset, again.raised), (None, closed.onset, closed.raised));
    }
    let other = case(said(Some(&closed), Standing::Open, cleared + 7 * DAY + 1));
    assert_ne!(other.case_id, closed.case_id, "even where the onset is told as before");
    assert_eq!(other.came_back, 0);
    assert_eq!(other.raised, Some(cleared + 7 * DAY + 1));
    let signs = said(Some(&closed), Standing::Pending, cleared + DAY);
    assert_eq!(signs, Applied::Unchanged, "first signs alone do not reopen");
    let new_signs = case(said(Some(&closed), Standing::Pending, cleared + 8 * DAY));
    assert_eq!(new_signs.stage, CaseStage::Pending);
    assert_eq!(said(Some(&closed), Standing::Clear, cleared + DAY), Applied::Unchanged);
}

#[test]
fn coming_back_counts_each_time_and_asks_to_be_looked_at_again() {
    let seen = Action { at: MONDAY + 2 * HOUR, ..act(ActionKind::Acknowledge, "") };
    let mut now = seen.apply(&at_stage(CaseStage::Open));
    assert_eq!(now.acknowledged_by.as_deref(), Some("night desk"));
    for times in 1..=3 {
        let at = MONDAY + i64::from(times) * DAY;
        now = case(said(Some(&now), Standing::Clear, at));
        now = case(said(Some(&now), Standing::Open, at + DAY / 2));
        assert_eq!(now.came_back, times);
        assert_eq!(now.acknowledged_by, None);
    }
}

#[test]
fn what_returns_after_a_service_is_a_new_case_and_what_was_measured_before_it_is_not() {
    let serviced_at = MONDAY + 5 * HOUR;
    let service = Action { at: serviced_at, ..act(ActionKind::Serviced, "fan motor") };
    let closed = service.apply(&at_stage(CaseStage::Escalated));
    assert_eq!((closed.stage, closed.cleared), (CaseStage::Closed, Some(serviced_at)));
    for standing in [Standing::Pending, Standing::Open, Standing::Escalated, Standing::Clear] {
        assert_eq!(
            said(Some(&closed), standing, serviced_at),
            Applied::Unchanged,
            "{standing:?} of before the service"
        );
    }
    let again = case(said(Some(&closed), Standing::Open, serviced_at + 1));
    assert_ne!(again.case_id, closed.case_id);
    assert_eq!((again.came_back, again.onset), (0, serviced_at), "it began after the service");
}

#[test]
fn the_same_signals_give_the_same_case_whenever_they_come() {
    let now = at_stage(CaseStage::Escalated);
    let unit = id("TR-1");
    let context = CaseContext { unit: &unit, depot: "North", cargo_class: CargoClass::Unknown, late: true };
    let late = case(apply(None, &signal(CONDITION, Standing::Escalated, MONDAY + HOUR), &context));
    assert!(late.late);
    assert_eq!(Case { late: false, ..late }, now);
}

#[test]
fn a_late_case_is_no_longer_late_once_fresh_readings_bear_it_out() {
    let late = case(said_with(None, Standing::Open, MONDAY + HOUR, CargoClass::Unknown, true));
    let still = case(said_with(Some(&late), Standing::Open, MONDAY + 2 * HOUR, CargoClass::Unknown, true));
    assert!(late.late && still.late);
    assert!(!case(said(Some(&still), Standing::Open, MONDAY + 3 * HOUR)).late);
}

#[test]
fn escalating_presses_more_and_takes_the_case_off_the_shelf() {
    let open = case(said_with(None, Standing::Open, MONDAY + HOUR, CargoClass::Chilled, false));
    assert_eq!((open.desk, open.priority), (Desk::Weekly, Priority::Low));
    let shelve = Action { at: MONDAY + HOUR, until: Some(MONDAY + 9 * HOUR), ..act(ActionKind::Shelve, "") };
    let shelved = shelve.apply(&open);
    let still =
        case(said_with(Some(&shelved), Standing::Open, MONDAY + 2 * HOUR, CargoClass::Chilled, false));
    assert_eq!(still.shelved_until, Some(MONDAY + 9 * HOUR), "no worse than what was put off");
    let worse =
        case(said_with(Some(&still), Standing::Escalated, MONDAY + 3 * HOUR, CargoClass::Chilled, false));
    assert_eq!((worse.desk, worse.priority), (Desk::Night, Priority::High));
    assert_ne!(worse.first_action, open.first_action, "a dispatcher is told what a dispatcher can do");
    assert_eq!(worse.shelved_until, None);
}

#[test]
fn what_is_no_number_is_not_written_down_and_nobody_is_surer_than_the_cap() {
    let mut odd = signal(CONDITION, Standing::Open, MONDAY + HOUR);
    odd.confidence = 1.0;
    odd.hours_to_harm = Some(f64::NAN);
    odd.evidence.days_to_limit = Some(f64::INFINITY);
    odd.evidence.limits[0].value = f64::NAN;
    let series = &mut odd.evidence.series[0];
    series.times = (0..10_000).collect();
    series.values = (0..9_999).map(f64::from).collect();
    series.values[9_998] = f64::NEG_INFINITY;
    let unit = id("TR-1");
    let context = CaseContext { unit: &unit, depot: "", cargo_class: CargoClass::Unknown, late: false };
    let case = case(apply(None, &odd, &context));
    assert_eq!((case.confidence, case.confidence_words.as_str()), (0.95, "very likely"));
    assert_eq!((case.hours_to_harm, case.evidence.days_to_limit), (None, None));
    assert!(case.evidence.limits.is_empty());
    let series = &case.evidence.series[0];
    assert_eq!((series.times.len(), series.values.len()), (MAX_SERIES_POINTS, MAX_SERIES_POINTS));
    assert_eq!(
        (series.times.last(), series.values.last()),
        (Some(&9_997), Some(&9_997.0)),
        "the newest are kept"
    );
    let text = serde_json::to_string(&case).unwrap();
    assert_eq!(serde_json::from_str::<Case>(&text).unwrap(), case);
}

#[test]
fn a_signal_without_a_headline_is_named_after_its_condition_and_channel() {
    let mut bare = signal(Condition::SensorStuck, Standing::Open, MONDAY);
    bare.headline = " ".to_owned();
    bare.channel = Some(Channel::Coil);
    let unit = id("TR-1");
    let context = CaseContext { unit: &unit, depot: "", cargo_class: CargoClass::Unknown, late: false };
    assert_eq!(case(apply(None, &bare, &context)).headline, "Sensor stuck: coil");
}
