use rimeline_channels::{Channel, Id, UnixMs};
use rimeline_detector::{Condition, Evidence};
use serde::{Deserialize, Serialize};

use crate::{CargoClass, CaseStage, Desk, Priority};

/// One condition on one unit, from first sign to cure.
///
/// Times that come from evidence (`onset`, `raised`, `judged`, `cleared`) are times of readings, not of arrival: the
/// same readings give the same case whenever they come. What people do is timed by the clock of the service.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Case {
    /// The same readings give the same id; see [`case_id`](crate::case_id).
    pub case_id: String,
    /// The unit.
    pub unit: Id,
    /// Where the unit belongs; empty: not stated.
    pub depot: String,
    /// What is wrong.
    pub condition: Condition,
    /// On which channel, where the condition is of one channel.
    pub channel: Option<Channel>,
    /// How far it has come.
    pub stage: CaseStage,
    /// How much it presses.
    pub priority: Priority,
    /// The desk it is for.
    pub desk: Desk,
    /// Probability that it is real, 0 to [`MAX_CONFIDENCE`](crate::MAX_CONFIDENCE).
    pub confidence: f64,
    /// The same in words.
    pub confidence_words: String,
    /// When it began, as estimated when it was first seen.
    pub onset: UnixMs,
    /// When it was first raised; `None` while pending.
    pub raised: Option<UnixMs>,
    /// The last change by evidence or by a person.
    pub updated: UnixMs,
    /// Time of the reading that decided how it stands now.
    pub judged: UnixMs,
    /// When it cleared; `None`: it stands.
    pub cleared: Option<UnixMs>,
    /// When a person said that the unit was repaired.
    pub serviced: Option<UnixMs>,
    /// Hours from `judged` until the load is harmed or the unit stops, where it can be said.
    pub hours_to_harm: Option<f64>,
    /// What the unit carries.
    pub cargo_class: CargoClass,
    /// One line for a list.
    pub headline: String,
    /// What to do first.
    pub first_action: String,
    /// What to mind.
    pub cautions: Vec<String>,
    /// What would clear it.
    pub would_clear: String,
    /// What it rests on.
    pub evidence: Evidence,
    /// What it rests on was already history when it came.
    pub late: bool,
    /// How often it came back within 7 days of clearing.
    pub came_back: u32,
    /// Who took it on.
    pub acknowledged_by: Option<String>,
    /// Off the ranked list until then.
    pub shelved_until: Option<UnixMs>,
}

impl Case {
    /// Whether people see it: everything but first signs.
    pub fn is_visible(&self) -> bool {
        self.stage != CaseStage::Pending
    }

    /// Whether it was raised and stands.
    pub fn stands(&self) -> bool {
        matches!(self.stage, CaseStage::Open | CaseStage::Escalated | CaseStage::Clearing)
    }

    /// Whether it is off the ranked list at a time.
    pub fn is_shelved(&self, now: UnixMs) -> bool {
        self.shelved_until.is_some_and(|until| now < until)
    }
}
