use std::collections::HashMap;

use arrow::array::{
    Array, AsArray, BooleanArray, DictionaryArray, RecordBatch, StringArray, TimestampMillisecondArray,
};
use arrow::datatypes::{Decimal64Type, Schema, TimestampMillisecondType, UInt8Type, UInt32Type};
use bytes::Bytes;
use parquet::arrow::arrow_reader::{
    ArrowReaderMetadata, ArrowReaderOptions, ParquetRecordBatchReader, ParquetRecordBatchReaderBuilder,
};
use rimeline_channels::{Absence, Alarm, Channel, EventKind, Id, State};

use crate::ArchiveError;
use crate::rows::{EventRow, Rows};
use crate::schema::{self, Form, column};
use crate::words::{self, PARTS};

/// Rows decoded at a time.
const BATCH: usize = 65_536;

type Strings<'a> = arrow::array::TypedDictionaryArray<'a, UInt32Type, StringArray>;

/// Reads one file into rows, after those that are there.
pub(crate) struct Decoder<'a> {
    file: &'a str,
    rows: &'a mut Rows,
}

impl<'a> Decoder<'a> {
    pub(crate) fn new(file: &'a str, rows: &'a mut Rows) -> Self {
        Self { file, rows }
    }

    pub(crate) fn readings(&mut self, bytes: Bytes) -> Result<(), ArchiveError> {
        let channels = self.channels(&bytes)?;
        for batch in self.open(bytes, &schema::readings(Form::Memory, &channels))? {
            let batch = batch.map_err(|e| self.unreadable(e.into()))?;
            self.reading_batch(&batch, &channels)?;
        }
        Ok(())
    }

    pub(crate) fn events(&mut self, bytes: Bytes) -> Result<(), ArchiveError> {
        for batch in self.open(bytes, &schema::events(Form::Memory))? {
            let batch = batch.map_err(|e| self.unreadable(e.into()))?;
            self.event_batch(&batch)?;
        }
        Ok(())
    }

    /// The channels that have a column.
    fn channels(&self, bytes: &Bytes) -> Result<Vec<Channel>, ArchiveError> {
        let metadata = ArrowReaderMetadata::load(bytes, ArrowReaderOptions::new());
        let metadata = metadata.map_err(|e| self.unreadable(e))?;
        let has = |c: &Channel| metadata.schema().column_with_name(c.name()).is_some();
        Ok(Channel::ALL.iter().copied().filter(has).collect())
    }

    fn open(&self, bytes: Bytes, schema: &Schema) -> Result<ParquetRecordBatchReader, ArchiveError> {
        // Metadata of fields is no part of what a Parquet column says by itself.
        let bare = schema.fields().iter().map(|f| f.as_ref().clone().with_metadata(HashMap::new()));
        let bare = Schema::new(bare.collect::<Vec<_>>());
        let options = ArrowReaderOptions::new().with_schema(bare.into());
        ParquetRecordBatchReaderBuilder::try_new_with_options(bytes, options)
            .and_then(|builder| builder.with_batch_size(BATCH).build())
            .map_err(|e| self.unreadable(e))
    }

    fn reading_batch(&mut self, batch: &RecordBatch, channels: &[Channel]) -> Result<(), ArchiveError> {
        let before = self.rows.len();
        let units = self.units(batch)?;
        self.rows.unit.extend(units);
        self.rows.time.extend_from_slice(self.times(batch, column::TIME)?.values());
        self.rows.received.extend_from_slice(self.times(batch, column::RECEIVED)?.values());
        self.rows.late.extend(self.flags(batch, column::LATE)?.values().iter());
        let states = self.states(batch)?;
        self.rows.state.extend(states);
        for &channel in channels {
            let array = self.column(batch, channel.name())?.as_primitive::<Decimal64Type>();
            // Only 32-bit numbers were written.
            let values: Vec<i32> = array.values().iter().map(|v| *v as i32).collect();
            let absent: Vec<u8> = array.nulls().map_or(Vec::new(), |nulls| {
                nulls.iter().map(|number| if number { 0 } else { Absence::NotReported as u8 }).collect()
            });
            self.rows.append_cells(channel, before, &values, &absent);
        }
        self.status(batch, before)
    }

    /// Puts the reasons of the status column in the place of "not reported".
    fn status(&mut self, batch: &RecordBatch, before: usize) -> Result<(), ArchiveError> {
        let status = self.strings(batch, column::STATUS)?;
        let parsed = status.values().iter().map(|text| words::parse_status(text.unwrap_or("")));
        let parsed = parsed.collect::<Result<Vec<_>, _>>();
        let parsed = parsed.map_err(|part| self.foreign(format!("status `{part}` is not known")))?;
        let rows = batch.num_rows();
        for (row, key) in status.keys().iter().enumerate() {
            let Some(key) = key else { continue };
            for &(channel, absence) in &parsed[key as usize] {
                self.rows.set_absent(channel, before + row, before + rows, absence);
            }
        }
        Ok(())
    }

    fn event_batch(&mut self, batch: &RecordBatch) -> Result<(), ArchiveError> {
        let units = self.units(batch)?;
        let times = self.times(batch, column::TIME)?.values();
        let received = self.times(batch, column::RECEIVED)?.values();
        let late = self.flags(batch, column::LATE)?;
        let states = self.states(batch)?;
        let kinds = self.strings(batch, column::KIND)?;
        let set_points = self.column(batch, column::SET_POINT)?.as_primitive::<Decimal64Type>();
        let codes = self.strings(batch, column::ALARM_CODE)?;
        let texts = self.strings(batch, column::ALARM_TEXT)?;
        let by_person = self.flags(batch, column::BY_PERSON)?;
        for (row, unit) in units.into_iter().enumerate() {
            let alarm = || Alarm {
                code: word(&codes, row).to_owned(),
                text: word(&texts, row).to_owned(),
                by_person: by_person.is_valid(row) && by_person.value(row),
            };
            let kind = match word(&kinds, row) {
                "state_changed" => EventKind::StateChanged(states[row]),
                "set_point_changed" => EventKind::SetPointChanged(set_points.value(row) as i32),
                "alarm_raised" => EventKind::AlarmRaised(alarm()),
                "alarm_cleared" => EventKind::AlarmCleared(alarm()),
                other => return Err(self.foreign(format!("event kind `{other}` is not known"))),
            };
            let (time, received, late) = (times[row], received[row], late.value(row));
            self.rows.events.push(EventRow { unit, time, received, late, kind });
        }
        Ok(())
    }

    /// Per row, the index of its unit in the rows being filled.
    fn units(&mut self, batch: &RecordBatch) -> Result<Vec<u32>, ArchiveError> {
        let strings = self.strings(batch, column::UNIT)?;
        let mut indices = Vec::with_capacity(strings.values().len());
        for id in strings.values() {
            let id = Id::new(id.unwrap_or("")).map_err(|e| self.foreign(e.to_string()))?;
            indices.push(self.rows.units.intern(&id));
        }
        Ok(strings.keys().values().iter().map(|key| indices[*key as usize]).collect())
    }

    fn states(&self, batch: &RecordBatch) -> Result<Vec<State>, ArchiveError> {
        let mut states = vec![State::default(); batch.num_rows()];
        for part in PARTS {
            let words = self.strings(batch, part.name)?;
            // A dictionary of nothing but nulls may hold an empty text.
            let number = |word: Option<&str>| word.filter(|w| !w.is_empty()).map_or(Ok(0), part.find);
            let numbers: Result<Vec<u8>, _> = words.values().iter().map(number).collect();
            let numbers = numbers.map_err(|e| self.foreign(e.to_string()))?;
            for (state, key) in states.iter_mut().zip(words.keys()) {
                if let Some(key) = key {
                    (part.set)(state, numbers[key as usize]);
                }
            }
        }
        let inputs = self.column(batch, column::INPUTS)?.as_primitive::<UInt8Type>();
        let outputs = self.column(batch, column::OUTPUTS)?.as_primitive::<UInt8Type>();
        for (row, state) in states.iter_mut().enumerate() {
            state.inputs = if inputs.is_valid(row) { inputs.value(row) } else { 0 };
            state.outputs = if outputs.is_valid(row) { outputs.value(row) } else { 0 };
        }
        Ok(states)
    }

    fn column<'b>(&self, batch: &'b RecordBatch, name: &str) -> Result<&'b dyn Array, ArchiveError> {
        let column = batch.column_by_name(name).map(AsRef::as_ref);
        column.ok_or_else(|| self.foreign(format!("it has no column {name}")))
    }

    fn times<'b>(
        &self,
        batch: &'b RecordBatch,
        name: &str,
    ) -> Result<&'b TimestampMillisecondArray, ArchiveError> {
        Ok(self.column(batch, name)?.as_primitive::<TimestampMillisecondType>())
    }

    fn flags<'b>(&self, batch: &'b RecordBatch, name: &str) -> Result<&'b BooleanArray, ArchiveError> {
        Ok(self.column(batch, name)?.as_boolean())
    }

    fn strings<'b>(&self, batch: &'b RecordBatch, name: &str) -> Result<Strings<'b>, ArchiveError> {
        let array: &DictionaryArray<UInt32Type> = self.column(batch, name)?.as_dictionary();
        let typed = array.downcast_dict::<StringArray>();
        typed.ok_or_else(|| self.foreign(format!("column {name} is no text")))
    }

    fn unreadable(&self, source: parquet::errors::ParquetError) -> ArchiveError {
        ArchiveError::Parquet { file: self.file.to_owned(), source }
    }

    fn foreign(&self, what: String) -> ArchiveError {
        ArchiveError::Foreign { file: self.file.to_owned(), what }
    }
}

/// The text of a row, empty where it is null.
fn word<'a>(strings: &Strings<'a>, row: usize) -> &'a str {
    let keys = strings.keys();
    if keys.is_valid(row) { strings.values().value(keys.value(row) as usize) } else { "" }
}
