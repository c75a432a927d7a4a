use rimeline_channels::{Id, UnixMs};
use rimeline_detector::{Judgement, Mark};

use crate::{
    Action, Case, CaseChange, CaseFile, CaseFilter, Changes, Committed, Cursor, FieldError, Load, Service,
    Snapshot, Step, UnitRecord, UnitSummary, Week,
};

/// What is written down about cases, units and loads.
///
/// Methods block; call them where blocking is allowed. A method that returned has what it wrote on disk.
pub trait Casebook: Send + Sync + 'static {
    /// The journal position a role has reached; 0: none.
    fn position(&self, role: &str) -> Result<u64, CasebookError>;
    /// Writes a step as a whole. A step whose position was already reached changes nothing.
    fn commit(&self, step: &Step) -> Result<Committed, CasebookError>;

    /// The newest place in the feed.
    fn cursor(&self) -> Result<Cursor, CasebookError>;
    /// The first `limit` changes after a cursor.
    fn changes_after(&self, cursor: Cursor, limit: usize) -> Result<Changes, CasebookError>;
    /// The cases wanted as they stand at a time, ranked, and the place in the feed at which they stand so. A follower
    /// that wants to draw shelved cases asks for them.
    fn cases(&self, filter: &CaseFilter, now: UnixMs) -> Result<Snapshot, CasebookError>;
    /// One case and what people did about it.
    fn case(&self, case_id: &str) -> Result<CaseFile, CasebookError>;
    /// Writes down what a person did, at `now`.
    fn record_action(&self, case_id: &str, action: &Action, now: UnixMs) -> Result<Recorded, CasebookError>;
    /// The first `limit` repairs after the one with this number.
    fn services_after(&self, number: u64, limit: usize) -> Result<Vec<Service>, CasebookError>;
    /// The number of the last repair a role's detector state includes, from [`Step::services_taken`]; 0: none.
    fn services_taken(&self, role: &str) -> Result<u64, CasebookError>;

    /// Units that were described or that ever reported, by name. `None`: of every depot.
    fn units(&self, depot: Option<&str>) -> Result<Vec<UnitSummary>, CasebookError>;
    /// One unit and what it said last.
    fn unit(&self, unit: &Id) -> Result<Option<UnitRecord>, CasebookError>;
    /// Loads by start. `None`: of every unit.
    fn loads(&self, unit: Option<&Id>) -> Result<Vec<Load>, CasebookError>;
    /// The load a unit carries at a time; of several that overlap, the one that started last.
    fn load_at(&self, unit: &Id, time: UnixMs) -> Result<Option<Load>, CasebookError>;
    /// Odd values of a unit that were set aside, oldest first; the newest are kept.
    fn marks(&self, unit: &Id) -> Result<Vec<Mark>, CasebookError>;
    /// What each test made of a unit last.
    fn judgements(&self, unit: &Id) -> Result<Vec<Judgement>, CasebookError>;

    /// The detector state of a unit.
    fn checkpoint(&self, unit: &Id) -> Result<Option<Vec<u8>>, CasebookError>;
    /// Shows the detector state of each unit, one at a time.
    fn visit_checkpoints(&self, visit: &mut dyn FnMut(Id, &[u8])) -> Result<(), CasebookError>;
    /// The detector state of the fleet.
    fn fleet_checkpoint(&self) -> Result<Option<Vec<u8>>, CasebookError>;

    /// What the weekly list of a span is made from. `None`: of every depot.
    fn week(&self, from: UnixMs, until: UnixMs, depot: Option<&str>) -> Result<Week, CasebookError>;
}

/// A person's action that is on disk.
#[derive(Clone, Debug, PartialEq)]
pub struct Recorded {
    /// What followers of the feed must hear; holds the case after the action.
    pub change: CaseChange,
    /// Set where the unit was serviced: the detector must learn it anew.
    pub service: Option<Service>,
}

impl Recorded {
    /// The case after the action.
    pub fn case(&self) -> &Case {
        &self.change.case
    }
}

/// Why the casebook could not do it.
#[derive(Debug, thiserror::Error)]
pub enum CasebookError {
    /// No such case.
    #[error("there is no case `{0}`; `rimeline feed` lists the cases that stand")]
    UnknownCase(String),
    /// What was given cannot be taken.
    #[error(transparent)]
    Invalid(#[from] FieldError),
    /// The case has as many entries as one case takes.
    #[error("case `{case_id}` already has {limit} entries; write the rest into the workshop's own record")]
    TooManyActions {
        /// The case.
        case_id: String,
        /// Entries a case takes.
        limit: usize,
    },
    /// Detector state that grew beyond its bound.
    #[error("{what}: {bytes} bytes, at most {limit} are kept; the step was not written")]
    TooLarge {
        /// Whose state.
        what: String,
        /// Its size.
        bytes: usize,
        /// The bound.
        limit: usize,
    },
    /// The file has tables that this version does not know.
    #[error("casebook: the file was written by a newer rimeline; run that version, or restore an older copy")]
    Newer,
    /// The store failed.
    #[error("casebook: {doing} failed; check the disk and its free space, nothing was half-written")]
    Store {
        /// What was being done.
        doing: &'static str,
        /// What the store said.
        #[source]
        source: Box<dyn std::error::Error + Send + Sync>,
    },
    /// Something in the store cannot be read.
    #[error(
        "casebook: {what} cannot be read; restore the casebook from a copy, or delete it to rebuild it from the journal without what people wrote"
    )]
    Damaged {
        /// What cannot be read.
        what: String,
        /// Why.
        #[source]
        source: Box<dyn std::error::Error + Send + Sync>,
    },
}
