use crate::{State, UnixMs};

/// Something that happened on a unit between readings.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Event {
    /// Index into the batch's units.
    pub unit: u32,
    /// When.
    pub time: UnixMs,
    /// What.
    pub kind: EventKind,
}

/// What happened.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum EventKind {
    /// The state after a change.
    StateChanged(State),
    /// The set point after a change, 0.1 Cel.
    SetPointChanged(i32),
    /// The unit raised an alarm.
    AlarmRaised(Alarm),
    /// An alarm was cleared.
    AlarmCleared(Alarm),
}

/// An alarm of the unit's own controller.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Alarm {
    /// The unit's own code.
    pub code: String,
    /// The unit's own words.
    pub text: String,
    /// For a cleared alarm: a person did it.
    pub by_person: bool,
}
