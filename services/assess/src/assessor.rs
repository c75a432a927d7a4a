use std::collections::HashMap;

use prost::Message;
use rimeline_casebook::{Committed, RegistryChange, Step, UnitSignal};
use rimeline_channels::{Batch, DAY_MS, Id, Reading, UnixMs};
use rimeline_detector::{Fleet, Outcome, Output, UnitState};
use rimeline_journal::{Entry, Position};
use rimeline_wire::record::{Body, Readings, Record};
use rimeline_wire::{batch, cases, pb};

use crate::order::{Item, by_time};
use crate::unit::Unit;
use crate::{AssessConfig, AssessError, Parts, ROLE};

/// Repairs taken from the casebook at a time.
const SERVICES: usize = 256;

/// Shows readings to detectors and writes down what they say, a step at a time.
pub struct Assessor {
    config: AssessConfig,
    parts: Parts,
    units: HashMap<Id, Unit>,
    fleet: Fleet,
    position: Position,
    services_taken: u64,
    now: UnixMs,
    ticked: UnixMs,
    step: Step,
    out: Output,
    row: Reading,
    order: Vec<Item>,
}

impl Assessor {
    /// Takes up where the last step ended.
    pub fn open(config: AssessConfig, parts: Parts) -> Result<Self, AssessError> {
        let book = parts.casebook.as_ref();
        let mut units: HashMap<Id, Unit> = HashMap::new();
        let mut bad = None;
        book.visit_checkpoints(&mut |unit, bytes| match UnitState::from_bytes(bytes) {
            Ok(state) => {
                units.insert(unit, Unit::with_state(state));
            }
            Err(error) => {
                bad = Some(AssessError::BadState { unit: unit.to_string(), message: error.to_string() });
            }
        })?;
        if let Some(error) = bad {
            return Err(error);
        }
        for summary in book.units(None)? {
            let unit = units.entry(summary.unit).or_default();
            if let Some(description) = summary.description {
                unit.describe(description);
            }
        }
        for load in book.loads(None)? {
            units.entry(load.unit.clone()).or_default().put_load(load);
        }
        let fleet = match book.fleet_checkpoint()? {
            Some(bytes) => postcard::from_bytes(&bytes).map_err(|error| AssessError::BadState {
                unit: "the fleet".to_owned(),
                message: error.to_string(),
            })?,
            None => Fleet::default(),
        };
        let position = Position::new(book.position(ROLE)?).max(parts.journal.start());
        let services_taken = book.services_taken(ROLE)?;
        let now = parts.clock.now_ms();
        Ok(Self {
            config,
            parts,
            units,
            fleet,
            position,
            services_taken,
            now,
            ticked: now,
            step: Step::default(),
            out: Output::default(),
            row: Reading::default(),
            order: Vec::new(),
        })
    }

    /// How far the journal has been assessed, durably.
    pub fn position(&self) -> Position {
        self.position
    }

    /// Assesses what the journal holds beyond the last step, as much as one step takes. False: there was nothing.
    pub fn step(&mut self) -> Result<bool, AssessError> {
        let entries = self.parts.journal.read(self.position, self.config.step_bytes)?;
        let Some(last) = entries.last() else {
            return Ok(false);
        };
        let end = last.next;
        self.take_services()?;
        for entry in entries {
            self.take(entry)?;
        }
        // Everything there is has been seen: people who look now find the newest judgement of each unit.
        let drained = end >= self.parts.journal.end();
        self.write(Some(end), drained)?;
        self.position = end;
        Ok(true)
    }

    /// Judges the passing of time itself, while nothing arrives. A clock that follows data stands still meanwhile, and
    /// may already show the time of readings that are on their way to the journal: only records move it on here.
    pub fn pass_time(&mut self) -> Result<(), AssessError> {
        if !self.parts.clock.follows_data() {
            self.now = self.now.max(self.parts.clock.now_ms());
        }
        self.take_services()?;
        if self.tick() || self.step.services_taken.is_some() {
            self.write(None, true)?;
        }
        Ok(())
    }

    fn take(&mut self, entry: Entry) -> Result<(), AssessError> {
        let position = entry.position.get();
        let bad = |source| AssessError::BadRecord { position, source };
        let record = Record::from_bytes(entry.record).map_err(bad)?;
        self.now = self.now.max(record.received_ms);
        match record.body {
            Some(Body::Readings(readings)) => {
                let message = pb::Batch::decode(readings.batch.clone()).map_err(bad)?;
                self.take_batch(&batch::read_stored(&message), &readings);
            }
            // Both were checked before they were written down.
            Some(Body::Unit(unit)) => {
                if let Ok(description) = cases::description(&unit) {
                    self.units.entry(description.unit.clone()).or_default().describe(description.clone());
                    self.step.registry.push(RegistryChange::DescribeUnit(description));
                }
            }
            Some(Body::Load(load)) => {
                if let Ok(load) = cases::load(&load) {
                    // A load that moved to another unit leaves the one before.
                    self.units.values_mut().for_each(|unit| unit.drop_load(&load.load));
                    self.units.entry(load.unit.clone()).or_default().put_load(load.clone());
                    self.step.registry.push(RegistryChange::PutLoad(load));
                }
            }
            Some(Body::Producers(_)) | None => {}
        }
        self.tick();
        Ok(())
    }

    fn take_batch(&mut self, batch: &Batch, readings: &Readings) {
        let mut order = std::mem::take(&mut self.order);
        by_time(batch, &mut order);
        for item in &order {
            match *item {
                Item::Row(row) => self.take_row(batch, row, readings.late_before_ms),
                Item::Event(event) => {
                    let event = &batch.events[event];
                    let id = &batch.units[event.unit as usize];
                    let unit = self.units.entry(id.clone()).or_default();
                    let (state, setup) = unit.at(event.time);
                    state.event(&event.kind, event.time, setup, &self.config.detector, &mut self.out);
                    unit.touched = true;
                    self.keep_output(id, event.time < readings.late_before_ms);
                }
            }
        }
        self.order = order;
    }

    fn take_row(&mut self, batch: &Batch, row: usize, late_before_ms: UnixMs) {
        batch.read_row(row, &mut self.row);
        let id = batch.unit(row);
        if !self.units.contains_key(id) {
            self.units.insert(id.clone(), Unit::default());
        }
        let Some(unit) = self.units.get_mut(id) else {
            return;
        };
        let late = self.row.time < late_before_ms;
        let (state, setup) = unit.at(self.row.time);
        let outcome = state.observe(&self.row, setup, &self.config.detector, &mut self.fleet, &mut self.out);
        let assessed = outcome == Outcome::Assessed;
        unit.note(&self.row, assessed);
        unit.unjudged = true;
        if assessed {
            unit.live = !late;
            let day = self.row.time.div_euclid(DAY_MS);
            if std::mem::replace(&mut unit.judged_on, day) != day {
                judge(id, unit, &self.config, self.row.time, &mut self.step);
            }
        }
        self.keep_output(id, late);
    }

    fn keep_output(&mut self, id: &Id, late: bool) {
        let signals = self.out.signals.drain(..);
        self.step.signals.extend(signals.map(|signal| UnitSignal { unit: id.clone(), signal, late }));
        self.step.marks.extend(self.out.marks.drain(..).map(|mark| (id.clone(), mark)));
    }

    /// Lets time pass for units that report live. True: it was time.
    fn tick(&mut self) -> bool {
        if self.now - self.ticked < i64::from(self.config.tick_seconds) * 1_000 {
            return false;
        }
        self.ticked = self.now;
        let mut silent = Vec::new();
        for (id, unit) in self.units.iter_mut().filter(|(_, unit)| unit.live) {
            let (state, setup) = unit.at(self.now);
            state.tick(self.now, setup, &self.config.detector, &mut self.out);
            if !self.out.signals.is_empty() {
                unit.touched = true;
                unit.unjudged = true;
                let signals = self.out.signals.drain(..);
                silent.extend(signals.map(|signal| UnitSignal { unit: id.clone(), signal, late: false }));
            }
        }
        // The order of units in memory is not the order of anything.
        silent.sort_by(|a, b| a.unit.cmp(&b.unit));
        self.step.signals.append(&mut silent);
        true
    }

    /// Learns anew what a workshop repaired.
    fn take_services(&mut self) -> Result<(), AssessError> {
        loop {
            let services = self.parts.casebook.services_after(self.services_taken, SERVICES)?;
            if services.is_empty() {
                return Ok(());
            }
            for service in services {
                let unit = self.units.entry(service.unit).or_default();
                unit.state.serviced(service.condition, service.channel, service.at);
                unit.touched = true;
                self.services_taken = service.number;
                self.step.services_taken = Some(service.number);
            }
        }
    }

    fn write(&mut self, position: Option<Position>, drained: bool) -> Result<(), AssessError> {
        let mut step = std::mem::take(&mut self.step);
        ROLE.clone_into(&mut step.role);
        step.position = position.map(Position::get);
        step.now = self.now;
        for (id, unit) in &mut self.units {
            if std::mem::take(&mut unit.touched) {
                step.checkpoints.push((id.clone(), unit.state.to_bytes()));
                step.seen.extend(unit.take_seen(id));
            }
            if drained && unit.unjudged {
                judge(id, unit, &self.config, self.now, &mut step);
            }
        }
        step.fleet_checkpoint = Some(postcard::to_stdvec(&self.fleet).map_err(|error| {
            AssessError::BadState { unit: "the fleet".to_owned(), message: error.to_string() }
        })?);
        let Committed { changes, refused, .. } = self.parts.casebook.commit(&step)?;
        for reason in refused {
            tracing::warn!(reason, "part of a step was not taken");
        }
        if !changes.is_empty() {
            self.parts.changed.send_replace(());
        }
        Ok(())
    }
}

fn judge(id: &Id, unit: &mut Unit, config: &AssessConfig, now: UnixMs, step: &mut Step) {
    unit.unjudged = false;
    let (state, setup) = unit.at(now);
    let judgements = state.judgements(setup, &config.detector);
    match step.judgements.iter_mut().find(|(known, _)| known == id) {
        Some((_, known)) => *known = judgements,
        None => step.judgements.push((id.clone(), judgements)),
    }
}
