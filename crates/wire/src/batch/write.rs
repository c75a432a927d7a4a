use std::collections::HashMap;

use rimeline_channels::{Absence, Alarm, Batch, Column, EventKind, State};

use crate::pb;

/// The compact form of a batch.
pub fn write(batch: &Batch, sequence: u64) -> pb::Batch {
    let one_unit = batch.units.len() <= 1;
    let (states, state_index) = states(&batch.states);
    let base_time_ms = batch.times.first().copied().unwrap_or(0);
    let mut before = base_time_ms;
    let times = batch.times.iter().map(|time| {
        let delta = time - before;
        before = *time;
        delta
    });
    let time_delta_ms = times.collect();
    let mut deltas = Vec::with_capacity(batch.cells());
    let mut absences = Vec::new();
    for (index, column) in batch.columns.iter().enumerate() {
        write_column(index, column, &mut deltas, &mut absences);
    }
    pb::Batch {
        sequence,
        units: batch.units.iter().map(|unit| unit.as_str().to_owned()).collect(),
        unit_index: if one_unit { Vec::new() } else { batch.unit_of_row.clone() },
        base_time_ms,
        time_delta_ms,
        states,
        state_index,
        channels: batch.columns.iter().map(|column| column.channel.number()).collect(),
        deltas,
        absences,
        events: batch.events.iter().map(write_event).collect(),
    }
}

fn states(rows: &[State]) -> (Vec<pb::State>, Vec<u32>) {
    let mut distinct = Vec::new();
    let mut places: HashMap<State, u32> = HashMap::new();
    let mut index: Vec<u32> = Vec::with_capacity(rows.len());
    for state in rows {
        let place = *places.entry(*state).or_insert_with(|| {
            distinct.push(write_state(state));
            distinct.len() as u32 - 1
        });
        index.push(place);
    }
    if distinct.len() <= 1 {
        index.clear();
    }
    (distinct, index)
}

/// Appends one column. A number more than 2^31 away from the one before it cannot be written as a delta; it is
/// written as failed, which no channel's physical span allows to happen to a true value.
fn write_column(index: usize, column: &Column, deltas: &mut Vec<i32>, absences: &mut Vec<pb::Absence>) {
    let mut before = 0_i32;
    let mut run: Option<pb::Absence> = None;
    for (row, value) in column.values.iter().enumerate() {
        let mut absent = column.absent.get(row).copied().unwrap_or(0);
        let delta = if absent == 0 { value.checked_sub(before) } else { Some(0) };
        if let Some(delta) = delta {
            before = before.wrapping_add(delta);
            deltas.push(delta);
        } else {
            absent = Absence::FailedOther as u8;
            deltas.push(0);
        }
        let status = i32::from(absent);
        match &mut run {
            Some(open) if open.status == status => open.rows += 1,
            _ => {
                absences.extend(run.take());
                run = (status != 0).then_some(pb::Absence {
                    column: index as u32,
                    first_row: row as u32,
                    rows: 1,
                    status,
                });
            }
        }
    }
    absences.extend(run);
}

pub(crate) fn write_state(state: &State) -> pb::State {
    pb::State {
        power: state.power as i32,
        drive: state.drive as i32,
        running_mode: state.running_mode as i32,
        stage: state.stage as i32,
        door: state.door as i32,
        compressor: state.compressor as i32,
        defrost_origin: state.defrost_origin as i32,
        defrost_end: state.defrost_end as i32,
        inputs: u32::from(state.inputs),
        outputs: u32::from(state.outputs),
    }
}

fn write_event(event: &rimeline_channels::Event) -> pb::Event {
    use pb::event::What;
    let alarm = |alarm: &Alarm| pb::Alarm {
        code: alarm.code.clone(),
        text: alarm.text.clone(),
        by_person: alarm.by_person,
    };
    let what = match &event.kind {
        EventKind::StateChanged(state) => What::StateChanged(write_state(state)),
        EventKind::SetPointChanged(tenths) => What::SetPointChanged(*tenths),
        EventKind::AlarmRaised(raised) => What::AlarmRaised(alarm(raised)),
        EventKind::AlarmCleared(cleared) => What::AlarmCleared(alarm(cleared)),
    };
    pb::Event { unit_index: event.unit, time_ms: event.time, what: Some(what) }
}
