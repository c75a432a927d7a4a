use std::ops::Range;

use rimeline_casebook::{LastValue, Load, Seen, UnitDescription};
use rimeline_channels::{Absence, Channel, Id, Reading, UnixMs, Value};
use rimeline_detector::{UnitSetup, UnitState};

/// What is known of a unit while it is assessed.
#[derive(Debug, Default)]
pub(crate) struct Unit {
    pub(crate) state: UnitState,
    description: Option<UnitDescription>,
    loads: Vec<Load>,
    setup: UnitSetup,
    /// The times for which `setup` holds.
    setup_for: Range<UnixMs>,
    /// Its newest reading was news when it came: its silence means something.
    pub(crate) live: bool,
    /// Touched since the last step.
    pub(crate) touched: bool,
    /// Touched since it was last judged for people.
    pub(crate) unjudged: bool,
    /// The day since 1970 on which it was last judged for the weekly list.
    pub(crate) judged_on: i64,
    rows: u64,
    not_assessed: u64,
    newest: Option<Reading>,
}

impl Unit {
    pub(crate) fn with_state(state: UnitState) -> Self {
        Self { state, ..Self::default() }
    }

    pub(crate) fn describe(&mut self, description: UnitDescription) {
        self.description = Some(description);
        self.setup_for = 0..0;
    }

    pub(crate) fn put_load(&mut self, load: Load) {
        self.drop_load(&load.load);
        self.loads.push(load);
    }

    pub(crate) fn drop_load(&mut self, load: &Id) {
        self.loads.retain(|known| known.load != *load);
        self.setup_for = 0..0;
    }

    /// What detectors need to know at a time: the load may change between two readings. The state is handed out
    /// beside it, because a detector changes the one while it reads the other.
    pub(crate) fn at(&mut self, time: UnixMs) -> (&mut UnitState, &UnitSetup) {
        if !self.setup_for.contains(&time) {
            let carried = self.loads.iter().filter(|load| load.covers(time)).max_by_key(|load| load.from);
            self.setup = match &self.description {
                Some(description) => description.setup(carried),
                None => UnitSetup { load: carried.and_then(Load::within), ..UnitSetup::default() },
            };
            let turns = || self.loads.iter().flat_map(|load| [Some(load.from), load.until]).flatten();
            let since = turns().filter(|turn| *turn <= time).max().unwrap_or(UnixMs::MIN);
            let until = turns().filter(|turn| *turn > time).min().unwrap_or(UnixMs::MAX);
            self.setup_for = since..until;
        }
        (&mut self.state, &self.setup)
    }

    /// Counts a row, and keeps it if it is the newest.
    pub(crate) fn note(&mut self, row: &Reading, assessed: bool) {
        self.touched = true;
        self.rows += 1;
        self.not_assessed += u64::from(!assessed);
        match &mut self.newest {
            Some(newest) if newest.time <= row.time => newest.clone_from(row),
            Some(_) => {}
            None => self.newest = Some(row.clone()),
        }
    }

    /// What it reported since the last step.
    pub(crate) fn take_seen(&mut self, unit: &Id) -> Option<Seen> {
        let newest = self.newest.take()?;
        let said = |channel: &Channel| {
            let value = newest.get(*channel);
            (value != Value::Absent(Absence::NotReported))
                .then(|| LastValue::new(*channel, value, newest.time))
        };
        Some(Seen {
            unit: unit.clone(),
            last_reading: newest.time,
            rows: std::mem::take(&mut self.rows),
            not_assessed: std::mem::take(&mut self.not_assessed),
            last_values: Channel::ALL.iter().filter_map(said).collect(),
            last_state: newest.state,
        })
    }
}
