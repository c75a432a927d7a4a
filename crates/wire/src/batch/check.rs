use rimeline_channels::{
    Absence, Alarm, Batch, Channel, Column, Compressor, DefrostEnd, DefrostOrigin, Door, Drive, Event,
    EventKind, Id, Power, RunningMode, Stage, State, UnixMs, UnknownState,
};

use super::refusals::Refusals;
use crate::pb::{self, Refusal, RefusalReason as Why, RefusedItem as Item};

/// What a server takes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Bounds {
    /// Most rows in a batch.
    pub max_rows: usize,
    /// Most units in a batch.
    pub max_units: usize,
    /// Most events in a batch.
    pub max_events: usize,
    /// A row before this is refused, Unix milliseconds.
    pub oldest_ms: UnixMs,
    /// A row after this is refused, Unix milliseconds.
    pub newest_ms: UnixMs,
}

impl Bounds {
    /// No bounds but those of the types, for what was checked before.
    pub const OPEN: Self = Self {
        max_rows: usize::MAX,
        max_units: usize::MAX,
        max_events: usize::MAX,
        oldest_ms: i64::MIN,
        newest_ms: i64::MAX,
    };
}

/// A batch as far as it could be accepted, and what could not.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Checked {
    /// What was accepted.
    pub batch: Batch,
    /// What was not, and why. Empty: everything was accepted as sent.
    pub refusals: Vec<Refusal>,
}

const MAX_ALARM_CODE: usize = 32;
const MAX_ALARM_TEXT: usize = 256;

/// Turns a received batch into columns, refusing what cannot be taken and nothing else.
pub fn check(message: &pb::Batch, bounds: &Bounds) -> Checked {
    let mut refusals = Refusals::default();
    let mut batch = Batch::default();
    let units = units(message, bounds, &mut refusals);
    let mut known = vec![u32::MAX; units.len()];
    if let Some(shape) = shape(message, bounds, units.len(), &mut refusals) {
        let states = states(message, &mut refusals);
        let kept = rows(message, &units, &states, bounds, &mut known, &mut batch, &mut refusals);
        columns(message, &shape, &kept, &mut batch, &mut refusals);
    }
    events(message, &units, bounds, &mut known, &mut batch, &mut refusals);
    Checked { batch, refusals: refusals.into_vec() }
}

/// Reads a batch that [`check`] accepted earlier.
pub fn read_stored(message: &pb::Batch) -> Batch {
    check(message, &Bounds::OPEN).batch
}

fn units(message: &pb::Batch, bounds: &Bounds, refusals: &mut Refusals) -> Vec<Option<Id>> {
    if message.units.len() > bounds.max_units {
        return vec![None; message.units.len()];
    }
    let mut ids = Vec::with_capacity(message.units.len());
    for (index, text) in message.units.iter().enumerate() {
        match Id::new(text) {
            Ok(id) => ids.push(Some(id)),
            Err(error) => {
                refusals.add(Item::Row, index, Why::BadUnitId, "units", || {
                    format!("units[{index}]: {error}; its rows and events were not stored")
                });
                ids.push(None);
            }
        }
    }
    ids
}

/// The number of rows, once every array has the length it must have.
struct Shape {
    rows: usize,
}

fn shape(message: &pb::Batch, bounds: &Bounds, units: usize, refusals: &mut Refusals) -> Option<Shape> {
    let rows = message.time_delta_ms.len();
    let mut whole = |why, field: &str, text: String| {
        refusals.add(Item::Batch, 0, why, field, || text);
        None
    };
    if units > bounds.max_units {
        let most = bounds.max_units;
        return whole(
            Why::TooLarge,
            "units",
            format!("{units} units in one batch, at most {most} are taken: send smaller batches"),
        );
    }
    if rows > bounds.max_rows {
        let most = bounds.max_rows;
        return whole(
            Why::TooLarge,
            "time_delta_ms",
            format!("{rows} rows in one batch, at most {most} are taken: send smaller batches"),
        );
    }
    for (field, found) in
        [("unit_index", message.unit_index.len()), ("state_index", message.state_index.len())]
    {
        if found != 0 && found != rows {
            return whole(
                Why::BadLength,
                field,
                format!("{field} has {found} entries for {rows} rows; give one per row, or none"),
            );
        }
    }
    let cells = rows.checked_mul(message.channels.len());
    if cells != Some(message.deltas.len()) {
        let (columns, found) = (message.channels.len(), message.deltas.len());
        return whole(
            Why::BadLength,
            "deltas",
            format!("deltas has {found} entries for {columns} columns of {rows} rows; give columns x rows"),
        );
    }
    if rows > 0 && units == 0 {
        return whole(Why::BadIndex, "units", format!("{rows} rows and no unit; name at least one unit"));
    }
    Some(Shape { rows })
}

fn states(message: &pb::Batch, refusals: &mut Refusals) -> Vec<State> {
    let one = |(index, state): (usize, &pb::State)| {
        read_state(state, &mut |error| {
            refusals.add(Item::Row, index, Why::UnknownState, "states", || {
                format!("states[{index}]: {error}; that part is taken as unknown, the rows are stored")
            });
        })
    };
    message.states.iter().enumerate().map(one).collect()
}

/// Reads a state; each part with an unknown number is reported and left unknown.
pub(crate) fn read_state(state: &pb::State, report: &mut dyn FnMut(UnknownState)) -> State {
    let mut part = |error: UnknownState| report(error);
    let bits = |bits: u32| (bits & 0xff) as u8;
    State {
        power: Power::from_number(state.power).unwrap_or_else(|e| {
            part(e);
            Power::Unknown
        }),
        drive: Drive::from_number(state.drive).unwrap_or_else(|e| {
            part(e);
            Drive::Unknown
        }),
        running_mode: RunningMode::from_number(state.running_mode).unwrap_or_else(|e| {
            part(e);
            RunningMode::Unknown
        }),
        stage: Stage::from_number(state.stage).unwrap_or_else(|e| {
            part(e);
            Stage::Unknown
        }),
        door: Door::from_number(state.door).unwrap_or_else(|e| {
            part(e);
            Door::Unknown
        }),
        compressor: Compressor::from_number(state.compressor).unwrap_or_else(|e| {
            part(e);
            Compressor::Unknown
        }),
        defrost_origin: DefrostOrigin::from_number(state.defrost_origin).unwrap_or_else(|e| {
            part(e);
            DefrostOrigin::Unknown
        }),
        defrost_end: DefrostEnd::from_number(state.defrost_end).unwrap_or_else(|e| {
            part(e);
            DefrostEnd::Unknown
        }),
        inputs: bits(state.inputs),
        outputs: bits(state.outputs),
    }
}

/// Index in the accepted batch of a unit of the message, added on first use.
fn keep_unit(at: usize, id: &Id, known: &mut [u32], batch: &mut Batch) -> u32 {
    if known[at] == u32::MAX {
        known[at] = batch.unit_index(id);
    }
    known[at]
}

/// Appends the accepted rows and returns which rows of the message they were.
fn rows(
    message: &pb::Batch,
    units: &[Option<Id>],
    states: &[State],
    bounds: &Bounds,
    known: &mut [u32],
    batch: &mut Batch,
    refusals: &mut Refusals,
) -> Vec<usize> {
    let mut kept = Vec::with_capacity(message.time_delta_ms.len());
    let mut time = message.base_time_ms;
    for (row, delta) in message.time_delta_ms.iter().enumerate() {
        time = time.saturating_add(*delta);
        let unit = message.unit_index.get(row).copied().unwrap_or(0) as usize;
        let state = message.state_index.get(row).copied().unwrap_or(0) as usize;
        let Some(id) = units.get(unit) else {
            refusals.add(Item::Row, row, Why::BadIndex, "unit_index", || {
                format!("unit_index[{row}] is {unit}, units has {} entries", units.len())
            });
            continue;
        };
        // Rows of a unit without a usable id were refused with the id.
        let Some(id) = id else { continue };
        if let Err((why, text)) = time_within(time, bounds) {
            refusals.add(Item::Row, row, why, "time_delta_ms", || format!("row {row} of {id}: {text}"));
            continue;
        }
        let state = match states.get(state) {
            Some(state) => *state,
            None if states.is_empty() && state == 0 => State::default(),
            None => {
                refusals.add(Item::Row, row, Why::BadIndex, "state_index", || {
                    format!("state_index[{row}] is {state}, states has {} entries", states.len())
                });
                continue;
            }
        };
        let unit = keep_unit(unit, id, known, batch);
        batch.unit_of_row.push(unit);
        batch.times.push(time);
        batch.states.push(state);
        kept.push(row);
    }
    kept
}

fn time_within(time: UnixMs, bounds: &Bounds) -> Result<(), (Why, String)> {
    if time < bounds.oldest_ms {
        let text = format!(
            "{time} ms is before {} ms, the oldest time taken; check the gateway's clock",
            bounds.oldest_ms
        );
        Err((Why::TimeTooOld, text))
    } else if time > bounds.newest_ms {
        let text = format!(
            "{time} ms is after {} ms, the newest time taken now; check the gateway's clock",
            bounds.newest_ms
        );
        Err((Why::TimeInFuture, text))
    } else {
        Ok(())
    }
}

fn columns(message: &pb::Batch, shape: &Shape, kept: &[usize], batch: &mut Batch, refusals: &mut Refusals) {
    let absent = absences(message, shape, refusals);
    let every_row = kept.len() == shape.rows;
    for (index, number) in message.channels.iter().enumerate() {
        let Some(channel) = Channel::from_number(*number) else {
            refusals.add(Item::Column, index, Why::UnknownChannel, "channels", || {
                format!("channels[{index}] is {number}, which this server does not know; its values were not stored, the rows were")
            });
            continue;
        };
        if batch.columns.iter().any(|c| c.channel == channel) {
            refusals.add(Item::Column, index, Why::RepeatedChannel, "channels", || {
                format!("channels[{index}] names {channel} again; the first column was stored")
            });
            continue;
        }
        let deltas = &message.deltas[index * shape.rows..(index + 1) * shape.rows];
        let mut values = Vec::with_capacity(shape.rows);
        let mut absent = absent.get(index).cloned().unwrap_or_default();
        let mut running = 0_i64;
        for (row, delta) in deltas.iter().enumerate() {
            running += i64::from(*delta);
            let fits = i32::try_from(running);
            if fits.is_err() {
                refusals.add(Item::Value, row, Why::ValueOutOfStorageRange, "deltas", || {
                    format!("{channel} in row {row} adds up to {running}, more than 32 bits hold; stored as failed")
                });
                absent.resize(shape.rows, 0);
                absent[row] = Absence::FailedOther as u8;
            }
            values.push(fits.unwrap_or(0));
        }
        for (value, why) in values.iter_mut().zip(&absent) {
            if *why != 0 {
                *value = 0;
            }
        }
        if !every_row {
            values = kept.iter().map(|row| values[*row]).collect();
            if !absent.is_empty() {
                absent = kept.iter().map(|row| absent[*row]).collect();
            }
        }
        batch.columns.push(Column { channel, values, absent });
    }
}

/// Per column, per row: why there is no number. Empty where a column has all its numbers.
fn absences(message: &pb::Batch, shape: &Shape, refusals: &mut Refusals) -> Vec<Vec<u8>> {
    if message.absences.is_empty() {
        return Vec::new();
    }
    let mut absent = vec![Vec::new(); message.channels.len()];
    for (index, run) in message.absences.iter().enumerate() {
        let first = run.first_row as usize;
        let last = first.saturating_add(run.rows as usize);
        let Some(column) = absent.get_mut(run.column as usize).filter(|_| run.rows > 0 && last <= shape.rows)
        else {
            refusals.add(Item::Value, index, Why::BadIndex, "absences", || {
                format!(
                    "absences[{index}] covers rows {first}..{last} of column {}, outside {} columns of {} rows; it was left out",
                    run.column,
                    message.channels.len(),
                    shape.rows
                )
            });
            continue;
        };
        let absence = Absence::from_number(run.status).unwrap_or_else(|| {
            refusals.add(Item::Value, index, Why::UnknownStatus, "absences", || {
                format!("absences[{index}].status is {}, which is unknown; taken as not reported", run.status)
            });
            Absence::NotReported
        });
        column.resize(shape.rows, 0);
        column[first..last].fill(absence as u8);
    }
    absent
}

fn events(
    message: &pb::Batch,
    units: &[Option<Id>],
    bounds: &Bounds,
    known: &mut [u32],
    batch: &mut Batch,
    refusals: &mut Refusals,
) {
    if message.events.len() > bounds.max_events {
        refusals.add(Item::Batch, 0, Why::TooLarge, "events", || {
            let (found, most) = (message.events.len(), bounds.max_events);
            format!("{found} events in one batch, at most {most} are taken: send smaller batches")
        });
        return;
    }
    for (index, event) in message.events.iter().enumerate() {
        let Some(id) = units.get(event.unit_index as usize) else {
            refusals.add(Item::Event, index, Why::BadIndex, "events.unit_index", || {
                format!(
                    "events[{index}].unit_index is {}, units has {} entries",
                    event.unit_index,
                    units.len()
                )
            });
            continue;
        };
        let Some(id) = id else { continue };
        if let Err((why, text)) = time_within(event.time_ms, bounds) {
            refusals
                .add(Item::Event, index, why, "events.time_ms", || format!("event {index} of {id}: {text}"));
            continue;
        }
        match event_kind(event, index, refusals) {
            Ok(kind) => {
                let unit = keep_unit(event.unit_index as usize, id, known, batch);
                batch.events.push(Event { unit, time: event.time_ms, kind });
            }
            Err(text) => refusals
                .add(Item::Event, index, Why::BadEvent, "events.what", || format!("events[{index}]: {text}")),
        }
    }
}

fn event_kind(event: &pb::Event, index: usize, refusals: &mut Refusals) -> Result<EventKind, String> {
    use pb::event::What;
    match &event.what {
        Some(What::StateChanged(state)) => {
            let state = read_state(state, &mut |error| {
                refusals.add(Item::Event, index, Why::UnknownState, "events.state_changed", || {
                    format!("events[{index}]: {error}; that part is taken as unknown, the event is stored")
                });
            });
            Ok(EventKind::StateChanged(state))
        }
        Some(What::SetPointChanged(tenths)) => Ok(EventKind::SetPointChanged(*tenths)),
        Some(What::AlarmRaised(alarm)) => read_alarm(alarm).map(EventKind::AlarmRaised),
        Some(What::AlarmCleared(alarm)) => read_alarm(alarm).map(EventKind::AlarmCleared),
        None => Err("says nothing that this server knows; it was not stored".to_owned()),
    }
}

fn read_alarm(alarm: &pb::Alarm) -> Result<Alarm, String> {
    let too_long = |what: &str, text: &str, most: usize| {
        (text.chars().count() > most).then(|| format!("the alarm's {what} has more than {most} characters"))
    };
    match too_long("code", &alarm.code, MAX_ALARM_CODE)
        .or_else(|| too_long("text", &alarm.text, MAX_ALARM_TEXT))
    {
        Some(problem) => Err(problem),
        None => Ok(Alarm { code: alarm.code.clone(), text: alarm.text.clone(), by_person: alarm.by_person }),
    }
}
