use rimeline_casebook::{LastValue, UnitSummary};
use rimeline_channels::State;
use rimeline_detector::{Judgement, Mark, Verdict};

use super::registry::description_out;
use crate::pb;

/// A unit in a list.
pub fn unit_summary(unit: &UnitSummary) -> pb::UnitSummary {
    pb::UnitSummary {
        unit: unit.unit.to_string(),
        described: unit.description.is_some(),
        description: unit.description.as_ref().map(description_out),
        last_reading_ms: unit.last_reading.unwrap_or(0),
        readings: unit.rows,
        readings_not_assessed: unit.not_assessed,
    }
}

/// What a channel said last.
pub fn last_value(last: &LastValue) -> pb::LastValue {
    pb::LastValue {
        channel: last.channel.number(),
        value: last.quantity(),
        status: last.absence.map_or(0, |absence| absence as i32),
        time_ms: last.time,
    }
}

/// A unit's state.
pub fn state(state: &State) -> pb::State {
    crate::batch::write_state(state)
}

/// What a test makes of a unit.
pub fn judgement(judgement: &Judgement) -> pb::Judgement {
    let verdict = match judgement.verdict {
        Verdict::Quiet => pb::Verdict::Quiet,
        Verdict::Learning => pb::Verdict::Learning,
        Verdict::Abstains => pb::Verdict::Abstains,
        Verdict::Flagged => pb::Verdict::Flagged,
    };
    pb::Judgement {
        condition: judgement.condition as i32,
        verdict: verdict.into(),
        reason: judgement.reason.clone(),
        able_to_decide: judgement.able_to_decide,
    }
}

/// A value that was set aside.
pub fn mark(mark: &Mark) -> pb::Mark {
    pb::Mark {
        channel: mark.channel.number(),
        time_ms: mark.at,
        value: mark.value,
        expected: mark.expected,
        what: mark.what.clone(),
    }
}
