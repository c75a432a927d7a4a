use std::collections::BTreeSet;

use rimeline_channels::{Id, UnixMs};
use rusqlite::{Connection, OptionalExtension, params};

use super::fail::Fail;
use super::{Options, cases, feed, people, registry, state};
use crate::{
    Applied, CargoClass, CaseContext, CaseStage, CasebookError, Committed, RegistryChange, Step, UnitSignal,
    apply, place, validate_description, validate_load,
};

/// How far a role has come.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Role {
    pub(super) position: u64,
    pub(super) services_taken: u64,
}

pub(super) fn role(view: &Connection, role: &str) -> Result<Role, CasebookError> {
    let doing = "reading a position";
    let sql = "SELECT position, services_taken FROM role WHERE role = ?";
    let mut select = view.prepare_cached(sql).fail(doing)?;
    let found: Option<(i64, i64)> =
        select.query_row([role], |row| Ok((row.get(0)?, row.get(1)?))).optional().fail(doing)?;
    Ok(found.map_or_else(Role::default, |(position, services)| Role {
        position: position as u64,
        services_taken: services as u64,
    }))
}

/// Writes everything a step led to. Entries of people come before signals: a signal that was decided before a service
/// says nothing of the unit after it, in whichever order they came.
pub(super) fn commit(tx: &Connection, step: &Step, options: &Options) -> Result<Committed, CasebookError> {
    let reached = role(tx, &step.role)?;
    if step.position.is_some_and(|position| position <= reached.position) {
        return Ok(Committed { repeated: true, ..Committed::default() });
    }
    let mut work = Work { tx, step, options, feed: feed::Appender::new(tx)?, done: Committed::default() };
    work.registry()?;
    for seen in &step.seen {
        registry::saw(tx, seen)?;
    }
    work.actions()?;
    for signal in &step.signals {
        work.signal(signal)?;
    }
    work.detector_state()?;
    let Work { feed, done, .. } = work;
    feed.finish(options.kept_changes)?;
    let doing = "writing a position";
    let sql = "INSERT OR REPLACE INTO role (role, position, services_taken) VALUES (?, ?, ?)";
    let position = step.position.unwrap_or(reached.position) as i64;
    let services = step.services_taken.unwrap_or(reached.services_taken).max(reached.services_taken) as i64;
    tx.prepare_cached(sql).fail(doing)?.execute(params![step.role, position, services]).fail(doing)?;
    Ok(done)
}

struct Work<'a> {
    tx: &'a Connection,
    step: &'a Step,
    options: &'a Options,
    feed: feed::Appender<'a>,
    done: Committed,
}

impl Work<'_> {
    fn refuse(&mut self, reason: String) {
        tracing::warn!(role = %self.step.role, reason, "part of a step was not taken");
        self.done.refused.push(reason);
    }

    /// Takes what was said of units and loads, and fits standing cases to it and to loads that began or ended.
    fn registry(&mut self) -> Result<(), CasebookError> {
        let now = self.step.now;
        let mut touched = BTreeSet::new();
        for change in &self.step.registry {
            match change {
                RegistryChange::DescribeUnit(described) => match validate_description(described) {
                    Ok(()) => {
                        registry::describe(self.tx, described, now)?;
                        touched.insert(described.unit.clone());
                    }
                    Err(error) => self.refuse(format!("description of {}: {error}", described.unit)),
                },
                RegistryChange::PutLoad(load) => match validate_load(load) {
                    Ok(()) => {
                        touched.extend(registry::unit_of_load(self.tx, &load.load)?);
                        registry::number(self.tx, &load.unit, now)?;
                        registry::put_load(self.tx, load, self.options.kept_loads)?;
                        touched.insert(load.unit.clone());
                    }
                    Err(error) => self.refuse(format!("load {}: {error}", load.load)),
                },
            }
        }
        let until = feed::meta(self.tx, "loads_until")?;
        if now > until {
            touched.extend(registry::load_turns(self.tx, until, now)?);
            feed::set_meta(self.tx, "loads_until", now)?;
        }
        for unit in &touched {
            self.fit(unit, now)?;
        }
        Ok(())
    }

    /// Fits the standing cases of a unit to where it belongs and what it carries now.
    fn fit(&mut self, unit: &Id, now: UnixMs) -> Result<(), CasebookError> {
        let standing = cases::standing(self.tx, unit)?;
        if standing.is_empty() {
            return Ok(());
        }
        let depot = registry::depot(self.tx, unit)?;
        let cargo = self.cargo(unit, now)?;
        for case in standing {
            let mut fitted = case.clone();
            place(&mut fitted, &depot, cargo);
            if fitted != case {
                fitted.updated = fitted.updated.max(now);
                cases::put(self.tx, &fitted)?;
                self.done.changes.push(self.feed.append(&fitted)?);
            }
        }
        Ok(())
    }

    fn cargo(&self, unit: &Id, time: UnixMs) -> Result<CargoClass, CasebookError> {
        Ok(registry::load_at(self.tx, unit, time)?.map_or(CargoClass::Unknown, |load| load.cargo_class))
    }

    fn actions(&mut self) -> Result<(), CasebookError> {
        for (case_id, action) in &self.step.actions {
            match people::add(self.tx, &mut self.feed, case_id, action) {
                Ok(recorded) => {
                    self.done.changes.push(recorded.change);
                    self.done.services.extend(recorded.service);
                }
                // What cannot be taken will not become so by trying again: say it and go on.
                Err(
                    error @ (CasebookError::Invalid(_)
                    | CasebookError::UnknownCase(_)
                    | CasebookError::TooManyActions { .. }),
                ) => self.refuse(format!("entry of {} on case {case_id}: {error}", action.by)),
                Err(error) => return Err(error),
            }
        }
        Ok(())
    }

    fn signal(&mut self, said: &UnitSignal) -> Result<(), CasebookError> {
        let UnitSignal { unit, signal, late } = said;
        let existing = cases::newest(self.tx, unit, signal.condition, signal.channel)?;
        let depot = registry::depot(self.tx, unit)?;
        let context =
            CaseContext { unit, depot: &depot, cargo_class: self.cargo(unit, signal.at)?, late: *late };
        match (apply(existing.as_ref(), signal, &context), existing) {
            (Applied::Unchanged, _) => {}
            (Applied::Dropped, existing) => {
                if let Some(case) = existing {
                    cases::forget(self.tx, &case.case_id)?;
                }
            }
            (Applied::Case(case), existing) => {
                if existing.as_ref() == Some(&*case) {
                    return Ok(());
                }
                cases::put(self.tx, &case)?;
                if case.stage != CaseStage::Pending {
                    self.done.changes.push(self.feed.append(&case)?);
                }
            }
        }
        Ok(())
    }

    fn detector_state(&mut self) -> Result<(), CasebookError> {
        let now = self.step.now;
        for (unit, mark) in &self.step.marks {
            state::put_mark(self.tx, unit, mark, self.options.kept_marks, now)?;
        }
        for (unit, judgements) in &self.step.judgements {
            state::put_judgements(self.tx, unit, judgements, now)?;
        }
        for (unit, checkpoint) in &self.step.checkpoints {
            if checkpoint.len() > Step::MAX_CHECKPOINT {
                return Err(too_large(format!("state of {unit}"), checkpoint.len(), Step::MAX_CHECKPOINT));
            }
            state::put_checkpoint(self.tx, unit, checkpoint, now)?;
        }
        if let Some(checkpoint) = &self.step.fleet_checkpoint {
            if checkpoint.len() > Step::MAX_FLEET_CHECKPOINT {
                return Err(too_large(
                    "state of the fleet".to_owned(),
                    checkpoint.len(),
                    Step::MAX_FLEET_CHECKPOINT,
                ));
            }
            state::put_fleet_checkpoint(self.tx, checkpoint)?;
        }
        Ok(())
    }
}

/// A state that grew without bound is a fault of the detector: writing the rest of the step would hide it.
fn too_large(what: String, bytes: usize, limit: usize) -> CasebookError {
    CasebookError::TooLarge { what, bytes, limit }
}
