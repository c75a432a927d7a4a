use rimeline_casebook::{Action, ActionKind, Case, CaseChange, Cursor, FieldError};
use rimeline_detector::Evidence;

use crate::pb;

/// A case for people.
pub fn case(case: &Case) -> pb::Case {
    pb::Case {
        case_id: case.case_id.clone(),
        unit: case.unit.to_string(),
        depot: case.depot.clone(),
        condition: case.condition as i32,
        channel: case.channel.map_or(0, rimeline_channels::Channel::number),
        stage: case.stage.number(),
        priority: case.priority.number(),
        confidence: case.confidence,
        confidence_words: case.confidence_words.clone(),
        onset_ms: case.onset,
        raised_ms: case.raised.unwrap_or(0),
        updated_ms: case.updated,
        cleared_ms: case.cleared.unwrap_or(0),
        hours_to_harm: case.hours_to_harm,
        cargo_class: case.cargo_class.number(),
        headline: case.headline.clone(),
        first_action: case.first_action.clone(),
        cautions: case.cautions.clone(),
        would_clear: case.would_clear.clone(),
        evidence: Some(evidence(&case.evidence)),
        late: case.late,
        came_back: case.came_back,
        acknowledged_by: case.acknowledged_by.clone().unwrap_or_default(),
        shelved_until_ms: case.shelved_until.unwrap_or(0),
        desk: case.desk.number(),
    }
}

/// What a case rests on.
pub fn evidence(evidence: &Evidence) -> pb::Evidence {
    let series = evidence.series.iter().map(|series| pb::EvidenceSeries {
        name: series.name.clone(),
        unit_of_measure: series.unit_of_measure.clone(),
        times_ms: series.times.clone(),
        values: series.values.clone(),
    });
    let limits = evidence.limits.iter();
    pb::Evidence {
        statements: evidence.statements.clone(),
        series: series.collect(),
        limits: limits
            .map(|limit| pb::EvidenceLimit { name: limit.name.clone(), value: limit.value })
            .collect(),
        masked: evidence.masked.clone(),
        days_to_limit: evidence.days_to_limit,
        days_to_limit_early: evidence.days_to_limit_early,
        days_to_limit_late: evidence.days_to_limit_late,
    }
}

/// A change for followers of the feed.
pub fn change(change: &CaseChange) -> pb::CaseChanged {
    pb::CaseChanged { cursor: Some(cursor_out(change.cursor)), case: Some(case(&change.case)) }
}

/// A place in the feed, as handed out.
pub fn cursor_out(cursor: Cursor) -> pb::Cursor {
    pb::Cursor { epoch: cursor.epoch, sequence: cursor.sequence }
}

/// A place in the feed, as handed back.
pub fn cursor(cursor: pb::Cursor) -> Cursor {
    Cursor { epoch: cursor.epoch, sequence: cursor.sequence }
}

/// What a person wrote, timed by the server.
pub fn action(action: &pb::Action, at: i64) -> Result<Action, FieldError> {
    let kind = ActionKind::from_number(action.kind)
        .ok_or_else(|| FieldError::new("action.kind", format!("{} is no kind of action", action.kind)))?;
    let until = (action.until_ms != 0).then_some(action.until_ms);
    Ok(Action { by: action.by.clone(), at, kind, text: action.text.clone(), until })
}

/// What a person wrote, for people.
pub fn action_out(action: &Action) -> pb::Action {
    pb::Action {
        by: action.by.clone(),
        at_ms: action.at,
        kind: action.kind.number(),
        text: action.text.clone(),
        until_ms: action.until.unwrap_or(0),
    }
}
