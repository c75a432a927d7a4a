//! What a dispatcher reads first.
#![allow(clippy::unwrap_used)]

mod common;

use common::{HOUR, MONDAY, id, signal};
use proptest::prelude::*;
use rimeline_casebook::{Applied, CargoClass, Case, CaseContext, CaseStage, Priority, apply, compare, rank};
use rimeline_detector::{Condition, Standing};

fn case(name: &str) -> Case {
    let unit = id(name);
    let context = CaseContext { unit: &unit, depot: "", cargo_class: CargoClass::Chilled, late: false };
    match apply(None, &signal(Condition::WeakCooling, Standing::Open, MONDAY), &context) {
        Applied::Case(case) => *case,
        other => panic!("{other:?}"),
    }
}

fn ranked(mut cases: Vec<Case>, now: i64) -> Vec<String> {
    rank(&mut cases, now);
    cases.into_iter().map(|case| case.unit.to_string()).collect()
}

#[test]
fn the_nearest_harm_comes_first_whatever_is_surer_or_worth_more() {
    let soon =
        Case { hours_to_harm: Some(1.0), confidence: 0.4, cargo_class: CargoClass::Frozen, ..case("soon") };
    let later =
        Case { hours_to_harm: Some(5.0), confidence: 0.95, cargo_class: CargoClass::Pharma, ..case("later") };
    let unknown = Case { priority: Priority::High, ..case("unknown") };
    let planned = Case { hours_to_harm: Some(500.0), ..case("planned") };
    let closed = Case { stage: CaseStage::Closed, hours_to_harm: Some(0.0), ..case("closed") };
    let order = ranked(vec![closed, planned, unknown, later, soon], MONDAY);
    assert_eq!(order, ["soon", "later", "unknown", "planned", "closed"]);
}

#[test]
fn harm_of_one_doubling_is_ordered_by_confidence_and_cargo() {
    let with = |name: &str, cargo_class, confidence| {
        let hours = 2.5 + f64::from(name.len() as u32) / 10.0;
        Case { hours_to_harm: Some(hours), confidence, cargo_class, ..case(name) }
    };
    let cases = vec![
        with("empty", CargoClass::Empty, 0.8),
        with("frozen", CargoClass::Frozen, 0.8),
        with("fresh-less-sure", CargoClass::FreshProduce, 0.7),
        with("chilled", CargoClass::Chilled, 0.8),
        with("pharma", CargoClass::Pharma, 0.8),
    ];
    assert_eq!(ranked(cases, MONDAY), ["pharma", "chilled", "fresh-less-sure", "frozen", "empty"]);
}

#[test]
fn time_passes_for_an_estimate_that_was_made_earlier() {
    let old = Case { hours_to_harm: Some(9.0), ..case("old") };
    let fresh = Case { hours_to_harm: Some(3.0), judged: MONDAY + 8 * HOUR, ..case("fresh") };
    assert_eq!(ranked(vec![fresh, old], MONDAY + 8 * HOUR), ["old", "fresh"]);
}

proptest! {
    /// Sorting needs a total order; it must not depend on how the cases came.
    #[test]
    fn any_cases_have_one_order(
        parts in prop::collection::vec((any::<f64>(), prop::option::of(any::<f64>()), 0..6usize, 1..4i32, any::<i64>()), 2..12),
        now in any::<i64>(),
    ) {
        let mut cases: Vec<Case> = parts.iter().enumerate().map(|(n, &(confidence, hours, cargo, priority, judged))| Case {
            confidence,
            hours_to_harm: hours,
            cargo_class: CargoClass::ALL[cargo],
            priority: Priority::from_number(priority).unwrap(),
            judged,
            case_id: format!("{n:014}"),
            ..case("any")
        }).collect();
        rank(&mut cases, now);
        for (i, a) in cases.iter().enumerate() {
            for b in &cases[i + 1..] {
                prop_assert!(compare(a, b, now).is_lt());
                prop_assert!(compare(b, a, now).is_gt());
            }
        }
    }
}
