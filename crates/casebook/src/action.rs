use rimeline_channels::{Channel, DAY_MS, Id, UnixMs};
use rimeline_detector::Condition;
use serde::{Deserialize, Serialize};

use crate::{ActionKind, Case, FieldError};

/// What a person did about a case. An entry is never changed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Action {
    /// Who, 1 to [`Action::MAX_NAME`] characters.
    pub by: String,
    /// When the service received it.
    pub at: UnixMs,
    /// What.
    pub kind: ActionKind,
    /// Reason, note or finding, at most [`Action::MAX_TEXT`] characters. A note, a hand-over and a finding have one.
    pub text: String,
    /// For a shelving: until when.
    pub until: Option<UnixMs>,
}

/// A service that was written down, for the detector to learn the unit anew.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Service {
    /// Its place among all entries of people; grows.
    pub number: u64,
    /// The case it was written on.
    pub case_id: String,
    /// The unit.
    pub unit: Id,
    /// What was repaired.
    pub condition: Condition,
    /// On which channel, where the condition is of one channel.
    pub channel: Option<Channel>,
    /// When.
    pub at: UnixMs,
}

impl Action {
    /// The longest name of a person, in characters.
    pub const MAX_NAME: usize = 64;
    /// The longest text, in characters.
    pub const MAX_TEXT: usize = 2_000;
    /// The longest shelving, ms: a case must come back before it is forgotten.
    pub const MAX_SHELVE_MS: i64 = 30 * DAY_MS;
    /// The most entries one case takes.
    pub const MAX_PER_CASE: usize = 1_000;

    /// Checks an entry before it is written down.
    pub fn validate(&self) -> Result<(), FieldError> {
        let name = self.by.chars().count();
        if self.by.trim().is_empty() || name > Self::MAX_NAME || self.by.chars().any(char::is_control) {
            return Err(FieldError::new(
                "by",
                format!("a name of 1 to {} characters is needed", Self::MAX_NAME),
            ));
        }
        let text = self.text.chars().count();
        if text > Self::MAX_TEXT {
            let message = format!("{text} characters; at most {} are kept, so split it", Self::MAX_TEXT);
            return Err(FieldError::new("text", message));
        }
        let needs_text = matches!(self.kind, ActionKind::Note | ActionKind::HandOver | ActionKind::Finding);
        if needs_text && self.text.trim().is_empty() {
            return Err(FieldError::new(
                "text",
                format!("a {} needs a text", self.kind.name().replace('_', "-")),
            ));
        }
        match (self.kind, self.until) {
            (ActionKind::Shelve, None) => Err(FieldError::new("until_ms", "a shelving needs an end")),
            (ActionKind::Shelve, Some(until)) if until <= self.at => {
                Err(FieldError::new("until_ms", "the end of a shelving must lie in the future"))
            }
            (ActionKind::Shelve, Some(until)) if until.saturating_sub(self.at) > Self::MAX_SHELVE_MS => {
                let days = Self::MAX_SHELVE_MS / DAY_MS;
                Err(FieldError::new("until_ms", format!("a case is shelved for at most {days} days")))
            }
            (ActionKind::Shelve, _) | (_, None) => Ok(()),
            (_, Some(_)) => Err(FieldError::new("until_ms", "only a shelving has an end")),
        }
    }

    /// What the case is after this entry. Entries of two people never conflict: the later one is added.
    pub fn apply(&self, case: &Case) -> Case {
        let mut after = case.clone();
        after.updated = after.updated.max(self.at);
        match self.kind {
            ActionKind::Acknowledge => after.acknowledged_by = Some(self.by.clone()),
            ActionKind::Shelve => after.shelved_until = self.until,
            ActionKind::Unshelve => after.shelved_until = None,
            ActionKind::HandOver => after.acknowledged_by = None,
            ActionKind::Note | ActionKind::Finding => {}
            ActionKind::Serviced => {
                after.stage = crate::CaseStage::Closed;
                after.cleared = after.cleared.or(Some(self.at));
                after.serviced = Some(self.at);
                after.hours_to_harm = None;
                after.shelved_until = None;
            }
        }
        after
    }
}
