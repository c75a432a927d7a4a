//! The life of a case: what a signal makes of it. Pure.
//!
//! | case is \ signal says | pending | open | escalated | clear |
//! |---|---|---|---|---|
//! | none | pending | open | escalated | - |
//! | pending | pending | open | escalated | dropped |
//! | open | clearing | open | escalated | closed |
//! | escalated | clearing | escalated | escalated | closed |
//! | clearing | clearing | open | escalated | closed |
//! | closed, up to 7 days ago | - | open, came back | escalated, came back | - |
//! | closed, longer ago or serviced | new, pending | new, open | new, escalated | - |
//!
//! An escalated case stays so until it weakens: a priority that flaps is not read. Escalating takes a case off the
//! shelf: what was put off was less. A signal that was decided before the unit was serviced says nothing of the unit
//! after it.

use rimeline_channels::{Channel, DAY_MS, Id, UnixMs};
use rimeline_detector::{Evidence, Signal, Standing};

use crate::confidence::{confidence_words, shown_confidence};
use crate::routing::Pressing;
use crate::{CargoClass, Case, CaseStage, case_id, texts};

/// A condition that stands again within this time of clearing is the same case.
pub const SAME_CASE_MS: i64 = 7 * DAY_MS;
/// The most points of one evidence series that are kept, the newest.
pub const MAX_SERIES_POINTS: usize = 2_048;

/// What a case takes from its surroundings.
#[derive(Clone, Copy, Debug)]
pub struct CaseContext<'a> {
    /// The unit.
    pub unit: &'a Id,
    /// Where it belongs; empty: not stated.
    pub depot: &'a str,
    /// What it carries.
    pub cargo_class: CargoClass,
    /// The signal rests on readings that were already history when they came.
    pub late: bool,
}

/// What a signal makes of a case.
#[derive(Clone, Debug, PartialEq)]
pub enum Applied {
    /// Nothing.
    Unchanged,
    /// The case after the signal; it may have another id than the one before it.
    Case(Box<Case>),
    /// First signs that came to nothing: the case is forgotten.
    Dropped,
}

/// What a signal makes of the newest case of the same unit, condition and channel.
pub fn apply(existing: Option<&Case>, signal: &Signal, context: &CaseContext<'_>) -> Applied {
    let standing = signal.standing;
    let Some(case) = existing else {
        return if standing == Standing::Clear {
            Applied::Unchanged
        } else {
            begin(signal, context, signal.onset)
        };
    };
    match (case.stage, standing) {
        (CaseStage::Pending, Standing::Clear) => Applied::Dropped,
        (CaseStage::Closed, Standing::Clear) => Applied::Unchanged,
        (CaseStage::Closed, _) => after_closing(case, signal, context),
        _ => update(case, signal, context),
    }
}

fn after_closing(case: &Case, signal: &Signal, context: &CaseContext<'_>) -> Applied {
    if let Some(serviced) = case.serviced {
        if signal.at <= serviced {
            return Applied::Unchanged;
        }
        // What stands after a service began after it, whatever was estimated before.
        return begin(signal, context, signal.onset.max(serviced).max(case.onset.saturating_add(1)));
    }
    let same = case.cleared.is_some_and(|cleared| signal.at.saturating_sub(cleared) <= SAME_CASE_MS);
    match (same, signal.standing) {
        (true, Standing::Pending) => Applied::Unchanged,
        (true, _) => {
            let mut again = case.clone();
            again.came_back = case.came_back.saturating_add(1);
            again.cleared = None;
            // Whoever took it on took on what went away; someone must look again.
            again.acknowledged_by = None;
            update(&again, signal, context)
        }
        // Ids of one unit, condition and channel differ as long as their onsets grow.
        (false, _) => begin(signal, context, signal.onset.max(case.onset.saturating_add(1))),
    }
}

fn begin(signal: &Signal, context: &CaseContext<'_>, onset: UnixMs) -> Applied {
    let (condition, channel) = (signal.condition, signal.channel);
    let case = Case {
        case_id: case_id(context.unit, condition, channel, onset),
        unit: context.unit.clone(),
        depot: String::new(),
        condition,
        channel,
        stage: CaseStage::Pending,
        priority: crate::Priority::Low,
        desk: crate::Desk::Weekly,
        confidence: 0.0,
        confidence_words: String::new(),
        onset,
        raised: None,
        updated: signal.at,
        judged: signal.at,
        cleared: None,
        serviced: None,
        hours_to_harm: None,
        cargo_class: CargoClass::Unknown,
        headline: String::new(),
        first_action: String::new(),
        cautions: Vec::new(),
        would_clear: texts::of(condition).would_clear.to_owned(),
        evidence: Evidence::default(),
        late: context.late,
        came_back: 0,
        acknowledged_by: None,
        shelved_until: None,
    };
    update(&case, signal, context)
}

fn update(case: &Case, signal: &Signal, context: &CaseContext<'_>) -> Applied {
    let mut after = case.clone();
    after.stage = stage_after(case.stage, signal.standing);
    after.judged = signal.at;
    after.updated = case.updated.max(signal.at);
    if after.stage == CaseStage::Closed {
        // What it was when it stood stays readable; only how it stands has changed.
        after.cleared = Some(signal.at);
        after.hours_to_harm = None;
        if !signal.headline.trim().is_empty() {
            after.evidence.statements.push(format!("Cleared: {}", signal.headline));
        }
        return Applied::Case(Box::new(after));
    }
    if after.is_visible() && after.raised.is_none() {
        after.raised = Some(signal.at);
        after.late = context.late;
    }
    after.late &= context.late;
    if after.stage == CaseStage::Escalated && case.stage != CaseStage::Escalated {
        after.shelved_until = None;
    }
    after.confidence = shown_confidence(signal.confidence);
    confidence_words(after.confidence).clone_into(&mut after.confidence_words);
    after.hours_to_harm = signal.hours_to_harm.filter(|hours| hours.is_finite()).map(|hours| hours.max(0.0));
    after.headline = headline(signal);
    after.evidence = readable(&signal.evidence);
    place(&mut after, context.depot, context.cargo_class);
    Applied::Case(Box::new(after))
}

/// Fits a case to where its unit belongs and what it carries: desk, priority, first action and cautions follow.
pub fn place(case: &mut Case, depot: &str, cargo: CargoClass) {
    depot.clone_into(&mut case.depot);
    case.cargo_class = cargo;
    let pressing = Pressing {
        condition: case.condition,
        channel: case.channel,
        act_now: case.stage == CaseStage::Escalated,
        hours_to_harm: case.hours_to_harm,
        days_to_limit: case.evidence.days_to_limit_early.or(case.evidence.days_to_limit),
        cargo,
    };
    case.desk = pressing.desk();
    case.priority = pressing.priority();
    texts::first_action(case.condition, case.desk).clone_into(&mut case.first_action);
    case.cautions = texts::cautions(case.condition, cargo);
}

fn stage_after(stage: CaseStage, standing: Standing) -> CaseStage {
    match (stage, standing) {
        (_, Standing::Clear) => CaseStage::Closed,
        (_, Standing::Escalated) | (CaseStage::Escalated, Standing::Open) => CaseStage::Escalated,
        (CaseStage::Pending, Standing::Pending) => CaseStage::Pending,
        (_, Standing::Pending) => CaseStage::Clearing,
        (_, Standing::Open) => CaseStage::Open,
    }
}

fn headline(signal: &Signal) -> String {
    if !signal.headline.trim().is_empty() {
        return signal.headline.clone();
    }
    let title = texts::of(signal.condition).title;
    signal.channel.map_or_else(|| title.to_owned(), |channel: Channel| format!("{title}: {channel}"))
}

/// Evidence as it can be written down and read again: no value that is no number, series no longer than
/// [`MAX_SERIES_POINTS`].
fn readable(evidence: &Evidence) -> Evidence {
    let finite = |value: Option<f64>| value.filter(|value| value.is_finite());
    let mut kept = evidence.clone();
    for series in &mut kept.series {
        let points = series.times.iter().copied().zip(series.values.iter().copied());
        let points: Vec<(UnixMs, f64)> = points.filter(|(_, value)| value.is_finite()).collect();
        let newest = &points[points.len().saturating_sub(MAX_SERIES_POINTS)..];
        (series.times, series.values) = newest.iter().copied().unzip();
    }
    kept.limits.retain(|limit| limit.value.is_finite());
    kept.days_to_limit = finite(kept.days_to_limit);
    kept.days_to_limit_early = finite(kept.days_to_limit_early);
    kept.days_to_limit_late = finite(kept.days_to_limit_late);
    kept
}
