//! The fleet in time.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

use rimeline_channels::{Event, Reading, UnixMs};

use crate::build::{self, Built};
use crate::fault::Truth;
use crate::machine::{Machine, STEP_S};
use crate::scenario::{Scenario, ScenarioError};
use crate::unit::{Load, Unit};

/// A simulated fleet: what is known of it, what is true of it, and its readings in the order in which they arrive.
///
/// ```
/// use rimeline_fleet_model::{Fleet, Scenario};
///
/// let mut fleet = Fleet::new(&Scenario::small(2, 1, 7))?;
/// let mut readings = 0;
/// while let Some(delivery) = fleet.next_delivery() {
///     assert!(delivery.unit < 2 && delivery.reading.time <= delivery.arrived);
///     readings += 1;
/// }
/// assert_eq!(readings, 2 * 288);
/// # Ok::<(), rimeline_fleet_model::ScenarioError>(())
/// ```
#[derive(Debug)]
pub struct Fleet {
    units: Vec<Unit>,
    loads: Vec<Load>,
    truth: Vec<Truth>,
    streams: Vec<UnitStream>,
    due: BinaryHeap<Reverse<(UnixMs, usize)>>,
    given: Option<usize>,
}

/// A reading and the events since the one before it.
#[derive(Clone, Copy, Debug)]
pub struct Delivery<'a> {
    /// Index of the unit in [`Fleet::units`].
    pub unit: usize,
    /// When it arrives; later than the reading's time where the unit was out of coverage.
    pub arrived: UnixMs,
    /// The reading.
    pub reading: &'a Reading,
    /// What happened since the unit's reading before, in time order; their `unit` is the index in [`Fleet::units`].
    pub events: &'a [Event],
}

impl Fleet {
    /// Builds the fleet of a scenario; it stands at the scenario's start.
    pub fn new(scenario: &Scenario) -> Result<Self, ScenarioError> {
        let Built { units, loads, truth, mut streams } = build::build(scenario)?;
        let mut due = BinaryHeap::with_capacity(streams.len());
        for (unit, stream) in streams.iter_mut().enumerate() {
            if stream.advance() {
                due.push(Reverse((stream.arrived, unit)));
            }
        }
        Ok(Self { units, loads, truth, streams, due, given: None })
    }

    /// The units.
    pub fn units(&self) -> &[Unit] {
        &self.units
    }

    /// All loads of all units, by the time they are loaded.
    pub fn loads(&self) -> &[Load] {
        &self.loads
    }

    /// What is truly broken, by unit.
    pub fn truth(&self) -> &[Truth] {
        &self.truth
    }

    /// The next reading of any unit in the order of arrival, ties by unit; `None` after the last. A unit's own
    /// readings always come in the order in which they were measured.
    pub fn next_delivery(&mut self) -> Option<Delivery<'_>> {
        if let Some(unit) = self.given.take() {
            let stream = &mut self.streams[unit];
            if stream.advance() {
                self.due.push(Reverse((stream.arrived, unit)));
            }
        }
        let Reverse((arrived, unit)) = self.due.pop()?;
        self.given = Some(unit);
        let stream = &self.streams[unit];
        Some(Delivery { unit, arrived, reading: &stream.reading, events: &stream.events })
    }

    /// Takes the fleet apart into one independent stream per unit, in the order of [`Fleet::units`], for consumers
    /// that work unit by unit or on several threads.
    pub fn into_streams(self) -> Vec<UnitStream> {
        let given = self.given;
        let mut streams = self.streams;
        for (unit, stream) in streams.iter_mut().enumerate() {
            stream.ahead = given != Some(unit) && !stream.ended;
        }
        streams
    }
}

/// One unit in time.
#[derive(Debug)]
pub struct UnitStream {
    machine: Machine,
    cadence_s: i64,
    next_s: i64,
    end_s: i64,
    gaps: Vec<(i64, i64)>,
    gap: usize,
    reading: Reading,
    events: Vec<Event>,
    arrived: UnixMs,
    ahead: bool,
    ended: bool,
}

impl UnitStream {
    pub(crate) fn new(machine: Machine, cadence_s: u32, days: u32, gaps: Vec<(i64, i64)>) -> Self {
        let cadence_s = i64::from(cadence_s);
        // Units do not report in step with one another.
        let phase = (i64::from(machine.index) * 7 % (cadence_s / STEP_S)) * STEP_S;
        Self {
            machine,
            cadence_s,
            next_s: if phase == 0 { cadence_s } else { phase },
            end_s: i64::from(days) * 86_400,
            gaps,
            gap: 0,
            reading: Reading::default(),
            events: Vec::new(),
            arrived: 0,
            ahead: false,
            ended: false,
        }
    }

    /// The next reading; `None` after the last.
    pub fn next_delivery(&mut self) -> Option<Delivery<'_>> {
        if !std::mem::take(&mut self.ahead) && !self.advance() {
            return None;
        }
        let unit = self.machine.index as usize;
        Some(Delivery { unit, arrived: self.arrived, reading: &self.reading, events: &self.events })
    }

    /// Runs the unit until its next reading; false after the last.
    fn advance(&mut self) -> bool {
        self.events.clear();
        while self.next_s <= self.end_s {
            while self.machine.now_s < self.next_s {
                self.machine.step(&mut self.events);
            }
            self.next_s += self.cadence_s;
            if self.machine.effects.silent {
                self.events.clear();
                continue;
            }
            self.machine.report(&mut self.reading);
            self.arrived = self.reading.time + self.delay_ms();
            return true;
        }
        self.ended = true;
        false
    }

    /// A moment on the network, or what is left of a gap in coverage.
    fn delay_ms(&mut self) -> i64 {
        let now = self.machine.now_s;
        while self.gaps.get(self.gap).is_some_and(|g| g.1 <= now) {
            self.gap += 1;
        }
        match self.gaps.get(self.gap) {
            Some(&(from, to)) if from <= now => (to - now) * 1_000,
            _ => 2_000,
        }
    }
}
