use crate::{Absence, Channel, Event, Id, Reading, State, UnixMs, Value};

/// Readings of any units as columns. Rows keep the order in which they came.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Batch {
    /// The units that appear.
    pub units: Vec<Id>,
    /// Per row, index into `units`.
    pub unit_of_row: Vec<u32>,
    /// Per row, when.
    pub times: Vec<UnixMs>,
    /// Per row, the unit's state.
    pub states: Vec<State>,
    /// The channels that appear, each once.
    pub columns: Vec<Column>,
    /// What happened between readings.
    pub events: Vec<Event>,
}

/// One channel over all rows of a batch.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Column {
    /// Which channel.
    pub channel: Channel,
    /// Per row, the stored number; 0 where there is none.
    pub values: Vec<i32>,
    /// Per row, 0 where there is a number, else an [`Absence`] number. Empty: every row has a number.
    pub absent: Vec<u8>,
}

/// A batch whose parts do not fit together.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{field}: {found} entries where {expected} are needed")]
pub struct ShapeError {
    /// The part that does not fit.
    pub field: &'static str,
    /// Entries needed.
    pub expected: usize,
    /// Entries found.
    pub found: usize,
}

impl Column {
    /// What the channel says in a row.
    pub fn get(&self, row: usize) -> Value {
        match self.absent.get(row).copied().and_then(|a| Absence::from_number(i32::from(a))) {
            Some(absence) => Value::Absent(absence),
            None => Value::Number(self.values[row]),
        }
    }
}

impl Batch {
    /// Number of readings.
    pub fn rows(&self) -> usize {
        self.times.len()
    }

    /// Number of channel values, absent ones included.
    pub fn cells(&self) -> usize {
        self.rows() * self.columns.len()
    }

    /// The unit of a row.
    pub fn unit(&self, row: usize) -> &Id {
        &self.units[self.unit_of_row[row] as usize]
    }

    /// Fills `reading` with a row; channels without a column are not reported.
    pub fn read_row(&self, row: usize, reading: &mut Reading) {
        reading.clear(self.times[row], self.states[row]);
        for column in &self.columns {
            reading.set(column.channel, column.get(row));
        }
    }

    /// Appends a reading of `units[unit]`. A channel that was not in the batch before gets a column.
    pub fn push(&mut self, unit: u32, reading: &Reading) {
        let row = self.rows();
        self.unit_of_row.push(unit);
        self.times.push(reading.time);
        self.states.push(reading.state);
        for &channel in Channel::ALL {
            let value = reading.get(channel);
            let known = self.columns.iter().position(|c| c.channel == channel);
            if known.is_none() && value == Value::Absent(Absence::NotReported) {
                continue;
            }
            let at = known.unwrap_or_else(|| {
                let absent = vec![Absence::NotReported as u8; row];
                self.columns.push(Column { channel, values: vec![0; row], absent });
                self.columns.len() - 1
            });
            let column = &mut self.columns[at];
            match value {
                Value::Number(number) => {
                    column.values.push(number);
                    if !column.absent.is_empty() {
                        column.absent.push(0);
                    }
                }
                Value::Absent(absence) => {
                    column.values.push(0);
                    column.absent.resize(row, 0);
                    column.absent.push(absence as u8);
                }
            }
        }
    }

    /// The index of a unit, added where it is new.
    pub fn unit_index(&mut self, unit: &Id) -> u32 {
        let at = self.units.iter().position(|u| u == unit).unwrap_or_else(|| {
            self.units.push(unit.clone());
            self.units.len() - 1
        });
        at as u32
    }

    /// Checks that every part has one entry per row and every index points inside.
    pub fn check(&self) -> Result<(), ShapeError> {
        let rows = self.rows();
        let need = |field, expected, found| {
            if expected == found { Ok(()) } else { Err(ShapeError { field, expected, found }) }
        };
        need("unit_of_row", rows, self.unit_of_row.len())?;
        need("states", rows, self.states.len())?;
        for column in &self.columns {
            need("values", rows, column.values.len())?;
            if !column.absent.is_empty() {
                need("absent", rows, column.absent.len())?;
            }
        }
        let highest = self.unit_of_row.iter().chain(self.events.iter().map(|e| &e.unit)).max();
        match highest {
            Some(&unit) if unit as usize >= self.units.len() => {
                Err(ShapeError { field: "units", expected: unit as usize + 1, found: self.units.len() })
            }
            _ => Ok(()),
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn any_value() -> impl Strategy<Value = Value> {
        prop_oneof![
            3 => any::<i32>().prop_map(Value::Number),
            2 => (0..5usize).prop_map(|i| Value::Absent(Absence::ALL[i])),
        ]
    }

    proptest! {
        #[test]
        fn rows_pushed_are_the_rows_read(
            rows in prop::collection::vec(prop::collection::vec(any_value(), Channel::COUNT), 1..20)
        ) {
            let mut batch = Batch::default();
            let unit = batch.unit_index(&Id::new("U1").unwrap());
            let mut expected = Vec::new();
            for (i, values) in rows.iter().enumerate() {
                let mut reading = Reading::new(i as i64, State::default());
                for (channel, value) in Channel::ALL.iter().zip(values) {
                    reading.set(*channel, *value);
                }
                batch.push(unit, &reading);
                expected.push(reading);
            }
            prop_assert_eq!(batch.check(), Ok(()));
            let mut row = Reading::default();
            for (i, reading) in expected.iter().enumerate() {
                batch.read_row(i, &mut row);
                prop_assert_eq!(&row, reading);
            }
        }
    }
}
