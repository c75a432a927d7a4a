use std::collections::HashMap;
use std::ops::Range;

use rimeline_channels::{Absence, Batch, Channel, EventKind, Id, Reading, State, UnixMs, Value};

/// Rows as columns, in the order in which they came.
#[derive(Clone, Debug, Default)]
pub(crate) struct Rows {
    pub(crate) units: Units,
    pub(crate) unit: Vec<u32>,
    pub(crate) time: Vec<UnixMs>,
    pub(crate) received: Vec<UnixMs>,
    pub(crate) late: Vec<bool>,
    pub(crate) state: Vec<State>,
    /// By [`Channel::index`].
    cells: Vec<Cells>,
    pub(crate) events: Vec<EventRow>,
    /// First and last journal position.
    pub(crate) span: Option<(u64, u64)>,
}

/// One channel. Rows beyond the end did not report it.
#[derive(Clone, Debug, Default)]
pub(crate) struct Cells {
    pub(crate) values: Vec<i32>,
    /// 0 or an [`Absence`] number; empty where every row has a number.
    pub(crate) absent: Vec<u8>,
}

#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct EventRow {
    pub(crate) unit: u32,
    pub(crate) time: UnixMs,
    pub(crate) received: UnixMs,
    pub(crate) late: bool,
    pub(crate) kind: EventKind,
}

/// Unit ids and their index.
#[derive(Clone, Debug, Default)]
pub(crate) struct Units {
    ids: Vec<Id>,
    index: HashMap<Id, u32>,
}

impl Units {
    pub(crate) fn intern(&mut self, unit: &Id) -> u32 {
        if let Some(&at) = self.index.get(unit) {
            return at;
        }
        let at = self.ids.len() as u32;
        self.ids.push(unit.clone());
        self.index.insert(unit.clone(), at);
        at
    }

    pub(crate) fn get(&self, at: u32) -> &Id {
        &self.ids[at as usize]
    }

    pub(crate) fn ids(&self) -> &[Id] {
        &self.ids
    }
}

impl Cells {
    /// Fills up to `rows` with "not reported" and forgets what lies beyond.
    fn settle(&mut self, rows: usize) {
        self.values.truncate(rows);
        self.absent.truncate(rows);
        if self.values.len() < rows {
            self.absent.resize(self.values.len(), 0);
            self.absent.resize(rows, Absence::NotReported as u8);
            self.values.resize(rows, 0);
        }
    }

    fn append(&mut self, values: &[i32], absent: &[u8]) {
        let before = self.values.len();
        self.values.extend_from_slice(values);
        if absent.iter().any(|a| *a != 0) {
            self.absent.resize(before, 0);
            self.absent.extend_from_slice(absent);
        } else if !self.absent.is_empty() {
            self.absent.resize(self.values.len(), 0);
        }
    }

    fn get(&self, row: usize) -> Value {
        let Some(&value) = self.values.get(row) else {
            return Value::Absent(Absence::NotReported);
        };
        match self.absent.get(row).and_then(|a| Absence::from_number(i32::from(*a))) {
            Some(absence) => Value::Absent(absence),
            None => Value::Number(value),
        }
    }

    /// Whether the source said anything about the channel in a row.
    pub(crate) fn is_reported(&self, row: usize) -> bool {
        self.absence(row) != Absence::NotReported as u8
    }

    /// The [`Absence`] number of a row, 0 where it has a number.
    pub(crate) fn absence(&self, row: usize) -> u8 {
        match self.absent.get(row) {
            Some(&code) if code <= Absence::NotReported as u8 => code,
            _ if row < self.values.len() => 0,
            _ => Absence::NotReported as u8,
        }
    }
}

impl Rows {
    /// Forgets every row and keeps the room they took, so that the next ones need none.
    pub(crate) fn clear(&mut self) {
        self.units.ids.clear();
        self.units.index.clear();
        self.unit.clear();
        self.time.clear();
        self.received.clear();
        self.late.clear();
        self.state.clear();
        for cells in &mut self.cells {
            cells.values.clear();
            cells.absent.clear();
        }
        self.events.clear();
        self.span = None;
    }

    /// Readings.
    pub(crate) fn len(&self) -> usize {
        self.time.len()
    }

    /// Readings and events.
    pub(crate) fn total(&self) -> usize {
        self.len() + self.events.len()
    }

    /// The cells of a channel that some row mentions.
    pub(crate) fn cells(&self, channel: Channel) -> Option<&Cells> {
        self.cells.get(channel.index()).filter(|c| !c.values.is_empty())
    }

    /// Appends the rows of a batch in `range`.
    pub(crate) fn append(
        &mut self,
        batch: &Batch,
        range: Range<usize>,
        received: UnixMs,
        late_before: UnixMs,
    ) {
        let before = self.len();
        let units: Vec<u32> = batch.units.iter().map(|u| self.units.intern(u)).collect();
        self.unit.extend(batch.unit_of_row[range.clone()].iter().map(|u| units[*u as usize]));
        let times = &batch.times[range.clone()];
        self.time.extend_from_slice(times);
        self.late.extend(times.iter().map(|t| *t < late_before));
        self.state.extend_from_slice(&batch.states[range.clone()]);
        self.received.resize(self.time.len(), received);
        for column in &batch.columns {
            let absent = column.absent.get(range.clone()).unwrap_or(&[]);
            self.append_cells(column.channel, before, &column.values[range.clone()], absent);
        }
    }

    /// Appends an event of a unit.
    pub(crate) fn append_event(&mut self, unit: &Id, mut event: EventRow) {
        event.unit = self.units.intern(unit);
        self.events.push(event);
    }

    /// Appends all of `other` after the rows here.
    pub(crate) fn extend(&mut self, other: &Rows) {
        let before = self.len();
        let units: Vec<u32> = other.units.ids().iter().map(|u| self.units.intern(u)).collect();
        self.unit.extend(other.unit.iter().map(|u| units[*u as usize]));
        self.time.extend_from_slice(&other.time);
        self.received.extend_from_slice(&other.received);
        self.late.extend_from_slice(&other.late);
        self.state.extend_from_slice(&other.state);
        for &channel in Channel::ALL {
            if let Some(theirs) = other.cells(channel) {
                self.append_cells(channel, before, &theirs.values, &theirs.absent);
            }
        }
        let events = other.events.iter().map(|e| EventRow { unit: units[e.unit as usize], ..e.clone() });
        self.events.extend(events);
        self.span = match (self.span, other.span) {
            (Some((first, _)), Some((_, last))) => Some((first, last)),
            (ours, theirs) => ours.or(theirs),
        };
    }

    /// Appends numbers of a channel for the rows from `before` on.
    pub(crate) fn append_cells(&mut self, channel: Channel, before: usize, values: &[i32], absent: &[u8]) {
        let cells = self.cells_mut(channel);
        cells.settle(before);
        cells.append(values, absent);
    }

    /// Says why a row has no number of a channel, in the first `rows` rows.
    pub(crate) fn set_absent(&mut self, channel: Channel, row: usize, rows: usize, absence: Absence) {
        let cells = self.cells_mut(channel);
        if cells.values.len() < rows {
            cells.settle(rows);
        }
        cells.absent.resize(cells.values.len(), 0);
        cells.absent[row] = absence as u8;
    }

    fn cells_mut(&mut self, channel: Channel) -> &mut Cells {
        if self.cells.is_empty() {
            self.cells.resize(Channel::COUNT, Cells::default());
        }
        &mut self.cells[channel.index()]
    }

    /// Shows the readings in `from..until` of one unit or of all, as they came.
    pub(crate) fn visit(
        &self,
        unit: Option<&Id>,
        from: UnixMs,
        until: UnixMs,
        visit: &mut impl FnMut(&Id, Reading),
    ) {
        let wanted = unit.map(|unit| self.units.index.get(unit).copied());
        if wanted == Some(None) {
            return;
        }
        let wanted = wanted.flatten();
        for (row, (time, unit)) in self.time.iter().zip(&self.unit).enumerate() {
            if wanted.is_none_or(|wanted| wanted == *unit) && (from..until).contains(time) {
                visit(self.units.get(*unit), self.reading(row));
            }
        }
    }

    pub(crate) fn reading(&self, row: usize) -> Reading {
        let mut reading = Reading::new(self.time[row], self.state[row]);
        for (channel, cells) in Channel::ALL.iter().zip(&self.cells) {
            reading.set(*channel, cells.get(row));
        }
        reading
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use proptest::prelude::*;
    use rimeline_channels::Column;

    use super::*;

    fn batch(channel: Channel, values: &[Value], start: i64) -> Batch {
        let mut batch = Batch::default();
        let unit = batch.unit_index(&Id::new("U1").unwrap());
        for (i, value) in values.iter().enumerate() {
            let mut reading = Reading::new(start + i as i64, State::default());
            reading.set(channel, *value);
            batch.push(unit, &reading);
        }
        batch
    }

    fn any_value() -> impl Strategy<Value = Value> {
        prop_oneof![
            any::<i32>().prop_map(Value::Number),
            (0..5usize).prop_map(|i| Value::Absent(Absence::ALL[i]))
        ]
    }

    proptest! {
        #[test]
        fn batches_with_any_columns_read_back_row_by_row_also_after_they_are_joined(
            parts in prop::collection::vec((0..Channel::COUNT, prop::collection::vec(any_value(), 1..5)), 1..8),
            split in 0..8usize,
        ) {
            let (mut first, mut second, mut expected) = (Rows::default(), Rows::default(), Vec::new());
            for (i, (channel, values)) in parts.iter().enumerate() {
                let batch = batch(Channel::ALL[*channel], values, expected.len() as i64);
                let rows = if i < split { &mut first } else { &mut second };
                rows.append(&batch, 0..batch.rows(), 0, 0);
                let mut reading = Reading::default();
                for row in 0..batch.rows() {
                    batch.read_row(row, &mut reading);
                    expected.push(reading.clone());
                }
            }
            first.extend(&second);
            let mut read = Vec::new();
            first.visit(None, i64::MIN, i64::MAX, &mut |_, reading| read.push(reading));
            prop_assert_eq!(read, expected);
        }
    }

    #[test]
    fn of_a_channel_that_comes_twice_in_a_batch_the_later_column_counts() {
        let mut twice = batch(Channel::Coil, &[Value::Number(1)], 0);
        twice.columns.push(Column { channel: Channel::Coil, values: vec![2], absent: vec![] });
        let mut rows = Rows::default();
        rows.append(&twice, 0..1, 0, 0);
        assert_eq!(rows.reading(0).fixed(Channel::Coil), Some(2));
    }
}
