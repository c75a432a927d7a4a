//! The order in which a dispatcher reads.

use std::cmp::Ordering;

use rimeline_channels::{HOUR_MS, UnixMs};

use crate::{Case, CaseStage, Priority, routing::cargo_weight};

/// Puts the most pressing first: by time to harm, in doublings of an hour
/// because no estimate is finer; then by confidence weighed by what the cargo is worth protecting; then the longest
/// raised. Closed cases follow, the last changed first. Two cases never tie.
pub fn rank(cases: &mut [Case], now: UnixMs) {
    cases.sort_by(|a, b| compare(a, b, now));
}

/// How two cases stand to each other in [`rank`].
pub fn compare(a: &Case, b: &Case, now: UnixMs) -> Ordering {
    let closed = |case: &Case| (case.stage == CaseStage::Closed).then_some(std::cmp::Reverse(case.updated));
    let doubling = |case: &Case| hours_left(case, now).max(0.5).log2().ceil() as i32;
    let weight = |case: &Case| case.confidence * cargo_weight(case.cargo_class);
    closed(a)
        .cmp(&closed(b))
        .then_with(|| doubling(a).cmp(&doubling(b)))
        .then_with(|| weight(b).total_cmp(&weight(a)))
        .then_with(|| a.raised.cmp(&b.raised))
        .then_with(|| a.case_id.cmp(&b.case_id))
}

/// Hours until harm, counted from `now`. Where a case does not say, as many as its priority leaves it.
pub fn hours_left(case: &Case, now: UnixMs) -> f64 {
    match case.hours_to_harm {
        Some(hours) => hours - now.saturating_sub(case.judged) as f64 / HOUR_MS as f64,
        None => match case.priority {
            Priority::High => 8.0,
            Priority::Medium => 72.0,
            Priority::Low => 336.0,
        },
    }
}
