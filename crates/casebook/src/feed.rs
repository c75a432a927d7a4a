use rimeline_channels::{Id, UnixMs};
use serde::{Deserialize, Serialize};

use crate::{Action, CargoClass, Case, CaseStage, Priority};

/// A place in the feed: everything up to and including `sequence` has been seen.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct Cursor {
    /// Which casebook: another number, another feed.
    pub epoch: u64,
    /// Grows by 1 with each change; 0: before the first.
    pub sequence: u64,
}

/// A case after a change, with the place of the change in the feed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CaseChange {
    /// Hand it back to go on after this change.
    pub cursor: Cursor,
    /// The case after the change.
    pub case: Case,
}

/// What follows a cursor.
#[derive(Clone, Debug, PartialEq)]
pub enum Changes {
    /// The changes after the cursor in order, as many as were asked for. Empty: nothing new.
    Page(Vec<CaseChange>),
    /// The cursor is of another feed, ahead of this one, or older than what is kept: start from a snapshot.
    OutOfRange,
}

/// Cases as they stand, and the place in the feed at which they stood so.
#[derive(Clone, Debug, PartialEq)]
pub struct Snapshot {
    /// The cases, ranked.
    pub cases: Vec<Case>,
    /// Where to go on.
    pub cursor: Cursor,
}

/// A case with everything people wrote down, oldest first.
#[derive(Clone, Debug, PartialEq)]
pub struct CaseFile {
    /// The case.
    pub case: Case,
    /// What people did.
    pub actions: Vec<Action>,
}

/// Which cases are wanted. `Default`: all that stand and are not shelved.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct CaseFilter {
    /// Of these depots; empty: of all.
    pub depots: Vec<String>,
    /// Of these units; empty: of all.
    pub units: Vec<Id>,
    /// With this cargo; empty: with any.
    pub cargo_classes: Vec<CargoClass>,
    /// Pressing at least so much.
    pub least_priority: Option<Priority>,
    /// Closed cases too.
    pub include_closed: bool,
    /// Shelved cases too.
    pub include_shelved: bool,
}

impl CaseFilter {
    /// Whether a case is wanted at a time. First signs never are.
    pub fn matches(&self, case: &Case, now: UnixMs) -> bool {
        case.is_visible()
            && (self.include_closed || case.stage != CaseStage::Closed)
            && (self.include_shelved || !case.is_shelved(now))
            && self.concerns(case)
    }

    /// Whether a case is of the depots, units, cargo and priority wanted, whatever its stage. A follower of the feed
    /// asks this: it must learn of a case that closes or is shelved.
    pub fn concerns(&self, case: &Case) -> bool {
        (self.depots.is_empty() || self.depots.contains(&case.depot))
            && (self.units.is_empty() || self.units.contains(&case.unit))
            && (self.cargo_classes.is_empty() || self.cargo_classes.contains(&case.cargo_class))
            && self.least_priority.is_none_or(|least| case.priority >= least)
    }
}
