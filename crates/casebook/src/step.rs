use rimeline_channels::{Id, State, UnixMs};
use rimeline_detector::{Judgement, Mark, Signal};

use crate::{Action, CaseChange, LastValue, Load, Service, UnitDescription};

/// What one step through the journal led to. It is written as a whole, with the position, or not at all: after a
/// crash the journal is read again from the last step, and nothing is there twice.
#[derive(Clone, Debug, Default)]
pub struct Step {
    /// Who steps; each role has its own position.
    pub role: String,
    /// The journal position after this step. `None`: a step made by the passing of time alone, which moves no
    /// position and is always taken.
    pub position: Option<u64>,
    /// The time by the clock of the service.
    pub now: UnixMs,
    /// What was said of units and loads.
    pub registry: Vec<RegistryChange>,
    /// What detectors said, each unit's in order of time.
    pub signals: Vec<UnitSignal>,
    /// Odd values that were set aside.
    pub marks: Vec<(Id, Mark)>,
    /// Detector state per unit. At most [`Step::MAX_CHECKPOINT`] bytes each.
    pub checkpoints: Vec<(Id, Vec<u8>)>,
    /// Detector state of the fleet as a whole. At most [`Step::MAX_FLEET_CHECKPOINT`] bytes.
    pub fleet_checkpoint: Option<Vec<u8>>,
    /// Which units reported.
    pub seen: Vec<Seen>,
    /// What each test makes of a unit now; replaces what was said in the same week.
    pub judgements: Vec<(Id, Vec<Judgement>)>,
    /// What people did, where it came through the journal: case id and entry.
    pub actions: Vec<(String, Action)>,
    /// The number of the last [`Service`] whose effect is in `checkpoints`.
    pub services_taken: Option<u64>,
}

impl Step {
    /// The largest detector state of a unit, bytes.
    pub const MAX_CHECKPOINT: usize = 64 * 1024;
    /// The largest detector state of the fleet, bytes.
    pub const MAX_FLEET_CHECKPOINT: usize = 64 * 1024 * 1024;

    /// A step of a role that leads nowhere yet.
    pub fn new(role: &str, position: Option<u64>, now: UnixMs) -> Self {
        Self { role: role.to_owned(), position, now, ..Self::default() }
    }
}

/// What a detector said of a unit.
#[derive(Clone, Debug, PartialEq)]
pub struct UnitSignal {
    /// The unit.
    pub unit: Id,
    /// What it said.
    pub signal: Signal,
    /// It rests on readings that were already history when they came.
    pub late: bool,
}

/// What a unit reported in one step.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Seen {
    /// The unit.
    pub unit: Id,
    /// Time of the newest reading of the step.
    pub last_reading: UnixMs,
    /// Rows in the step, those not assessed included.
    pub rows: u64,
    /// Rows that came too far out of order to be assessed.
    pub not_assessed: u64,
    /// The newest of each channel that reported in the step; other channels keep what they said before.
    pub last_values: Vec<LastValue>,
    /// State at the newest reading.
    pub last_state: State,
}

/// What was said of a unit or a load.
#[derive(Clone, Debug, PartialEq)]
pub enum RegistryChange {
    /// A description that replaces the one before.
    DescribeUnit(UnitDescription),
    /// A load that replaces the one with the same id.
    PutLoad(Load),
}

/// What became of a step.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Committed {
    /// The position was already reached: nothing was changed.
    pub repeated: bool,
    /// What followers of the feed must hear, in order.
    pub changes: Vec<CaseChange>,
    /// Repairs that were written down, for the detector.
    pub services: Vec<Service>,
    /// Parts of the step that were not taken, each with the reason. The rest was.
    pub refused: Vec<String>,
}
