use std::collections::HashMap;
use std::sync::Arc;

use arrow::array::{
    ArrayRef, BooleanArray, Decimal64Array, DictionaryArray, RecordBatch, StringArray,
    TimestampMillisecondArray, UInt8Array, UInt32Array,
};
use arrow::buffer::{NullBuffer, ScalarBuffer};
use arrow::datatypes::{DataType, Schema, UInt32Type};
use parquet::arrow::ArrowWriter;
use parquet::arrow::arrow_writer::ArrowWriterOptions;
use parquet::basic::{Compression, Encoding, ZstdLevel};
use parquet::errors::ParquetError;
use parquet::file::metadata::SortingColumn;
use parquet::file::properties::{DeltaBinaryPackedEncoderOptions, EnabledStatistics, WriterProperties};
use parquet::schema::types::ColumnPath;
use rimeline_channels::{Channel, EventKind, Id, State};

use crate::rows::{EventRow, Rows};
use crate::schema::{self, Form};
use crate::words::{self, PARTS, Pattern};

/// Rows of a row group. A unit's day of readings lies in one or two of them, so a question about one unit decodes
/// little else; larger groups save under one per cent of the bytes.
const ROWS_PER_GROUP: usize = 65_536;

/// Readings a unit from which small delta blocks take the least room: a jump from one unit to the next then spoils few
/// values. With fewer, jumps are everywhere and the headers of large blocks weigh less. Measured on random walks of 10
/// to 720 readings a unit: up to a third smaller than either layout alone.
const LONG_RUN: u64 = 100;

type Result<T> = std::result::Result<T, ParquetError>;

/// The bytes of a Parquet file.
pub(crate) struct Encoded {
    pub(crate) bytes: Vec<u8>,
    /// Channels that have a column, as a mask.
    pub(crate) channels: u64,
}

/// Rows of one partition, sorted, as a file.
pub(crate) fn readings(rows: &Rows, order: &[u32], first: u64, last: u64) -> Result<Encoded> {
    let channels: Vec<Channel> = Channel::ALL.iter().copied().filter(|c| occurs(rows, order, *c)).collect();
    let memory = schema::readings(Form::Memory, &channels);
    let published = schema::readings(Form::Published, &channels);
    let long_runs = order.len() as u64 >= LONG_RUN * units_in(rows, order);
    let mut writer = writer(&memory, &published, &channels, (first, last), long_runs)?;
    let units = unit_words(rows);
    let mut status = StatusWords::default();
    for order in order.chunks(ROWS_PER_GROUP) {
        let mut arrays = head(
            &units,
            gather(order, |row| rows.unit[row]),
            gather(order, |row| rows.time[row]),
            gather(order, |row| rows.received[row]),
            order.iter().map(|row| rows.late[*row as usize]).collect(),
        )?;
        let states: Vec<State> = gather(order, |row| rows.state[row]);
        state_columns(&states, None, &mut arrays)?;
        let mut patterns: Vec<Pattern> = vec![0; order.len()];
        for &channel in &channels {
            arrays.push(channel_column(rows, order, channel, &mut patterns)?);
        }
        arrays.push(status.column(&patterns)?);
        writer.write(&RecordBatch::try_new(memory.clone(), arrays)?)?;
    }
    Ok(Encoded { bytes: writer.into_inner()?, channels: channels.iter().map(|c| c.bit()).sum() })
}

/// Events of one partition, sorted, as a file.
pub(crate) fn events(rows: &Rows, order: &[u32], first: u64, last: u64) -> Result<Encoded> {
    let memory = schema::events(Form::Memory);
    let published = schema::events(Form::Published);
    let mut writer = writer(&memory, &published, &[Channel::SetPoint], (first, last), false)?;
    let units = unit_words(rows);
    for order in order.chunks(ROWS_PER_GROUP) {
        let chosen: Vec<&EventRow> = gather(order, |row| &rows.events[row]);
        let mut arrays = head(
            &units,
            chosen.iter().map(|e| e.unit).collect(),
            chosen.iter().map(|e| e.time).collect(),
            chosen.iter().map(|e| e.received).collect(),
            chosen.iter().map(|e| e.late).collect(),
        )?;
        arrays.push(text(chosen.iter().map(|e| Some(kind_word(&e.kind)))));
        let states: Vec<Option<State>> = chosen
            .iter()
            .map(|e| if let EventKind::StateChanged(state) = e.kind { Some(state) } else { None })
            .collect();
        let known: NullBuffer = states.iter().map(Option::is_some).collect();
        let states: Vec<State> = states.into_iter().map(Option::unwrap_or_default).collect();
        state_columns(&states, Some(&known), &mut arrays)?;
        let set_points = chosen.iter().map(|e| match e.kind {
            EventKind::SetPointChanged(value) => Some(i64::from(value)),
            _ => None,
        });
        let (nulls, values) = set_points.map(|value| (value.is_some(), value.unwrap_or(0))).unzip();
        let nulls: Vec<bool> = nulls;
        arrays.push(decimals(values, Some(NullBuffer::from(nulls)), Channel::SetPoint));
        let alarm = |e: &&EventRow| match &e.kind {
            EventKind::AlarmRaised(alarm) | EventKind::AlarmCleared(alarm) => Some(alarm.clone()),
            _ => None,
        };
        let alarms: Vec<_> = chosen.iter().map(alarm).collect();
        arrays.push(text(alarms.iter().map(|a| a.as_ref().map(|a| a.code.as_str()))));
        arrays.push(text(alarms.iter().map(|a| a.as_ref().map(|a| a.text.as_str()))));
        arrays
            .push(Arc::new(alarms.iter().map(|a| a.as_ref().map(|a| a.by_person)).collect::<BooleanArray>()));
        writer.write(&RecordBatch::try_new(memory.clone(), arrays)?)?;
    }
    Ok(Encoded { bytes: writer.into_inner()?, channels: 0 })
}

/// The word of an event's kind in files.
pub(crate) fn kind_word(kind: &EventKind) -> &'static str {
    match kind {
        EventKind::StateChanged(_) => "state_changed",
        EventKind::SetPointChanged(_) => "set_point_changed",
        EventKind::AlarmRaised(_) => "alarm_raised",
        EventKind::AlarmCleared(_) => "alarm_cleared",
    }
}

fn writer(
    memory: &Arc<Schema>,
    published: &Schema,
    channels: &[Channel],
    (first, last): (u64, u64),
    long_runs: bool,
) -> Result<ArrowWriter<Vec<u8>>> {
    let (block, parts) = if long_runs { (128, 4) } else { (1_024, 8) };
    let mut properties = WriterProperties::builder()
        .set_created_by(concat!("rimeline version ", env!("CARGO_PKG_VERSION")).to_owned())
        .set_compression(Compression::ZSTD(ZstdLevel::try_new(1)?))
        .set_encoding(Encoding::DELTA_BINARY_PACKED)
        .set_delta_binary_packed_encoder_options(DeltaBinaryPackedEncoderOptions::try_new(block, parts)?)
        .set_dictionary_enabled(false)
        .set_statistics_enabled(EnabledStatistics::Chunk)
        .set_offset_index_disabled(true)
        .set_max_row_group_row_count(Some(ROWS_PER_GROUP))
        .set_sorting_columns(Some(vec![ascending(0), ascending(1)]))
        .set_key_value_metadata(Some(schema::metadata(published, channels, first, last)));
    for field in memory.fields() {
        let path = ColumnPath::from(field.name().as_str());
        properties = match field.data_type() {
            DataType::Dictionary(..) => properties
                .set_column_dictionary_enabled(path.clone(), true)
                .set_column_encoding(path, Encoding::PLAIN),
            DataType::Boolean => properties.set_column_encoding(path, Encoding::PLAIN),
            _ => properties,
        };
    }
    let options =
        ArrowWriterOptions::new().with_properties(properties.build()).with_skip_arrow_metadata(true);
    ArrowWriter::try_new_with_options(Vec::new(), memory.clone(), options)
}

fn ascending(column_idx: i32) -> SortingColumn {
    SortingColumn { column_idx, descending: false, nulls_first: false }
}

/// How many units sorted rows have.
fn units_in(rows: &Rows, order: &[u32]) -> u64 {
    order.chunk_by(|a, b| rows.unit[*a as usize] == rows.unit[*b as usize]).count() as u64
}

fn occurs(rows: &Rows, order: &[u32], channel: Channel) -> bool {
    let reported = |row: &u32| rows.cells(channel).is_some_and(|c| c.is_reported(*row as usize));
    order.iter().any(reported)
}

fn gather<'a, T>(order: &[u32], get: impl Fn(usize) -> T + 'a) -> Vec<T> {
    order.iter().map(|row| get(*row as usize)).collect()
}

fn unit_words(rows: &Rows) -> ArrayRef {
    Arc::new(StringArray::from_iter_values(rows.units.ids().iter().map(Id::as_str)))
}

fn head(
    units: &ArrayRef,
    unit: Vec<u32>,
    time: Vec<i64>,
    received: Vec<i64>,
    late: Vec<bool>,
) -> Result<Vec<ArrayRef>> {
    let keys = UInt32Array::new(ScalarBuffer::from(unit), None);
    let moment = |times: Vec<i64>| Arc::new(TimestampMillisecondArray::from(times).with_timezone("UTC"));
    Ok(vec![
        Arc::new(DictionaryArray::<UInt32Type>::try_new(keys, units.clone())?),
        moment(time),
        moment(received),
        Arc::new(BooleanArray::from(late)),
    ])
}

/// Pushes the columns of the state; all are null where `known` says so.
fn state_columns(states: &[State], known: Option<&NullBuffer>, arrays: &mut Vec<ArrayRef>) -> Result<()> {
    for part in PARTS {
        let numbers: Vec<u8> = states.iter().map(part.number).collect();
        let nulls: NullBuffer = numbers.iter().map(|n| *n != 0).collect();
        let keys = numbers.iter().map(|n| u32::from(n.saturating_sub(1))).collect::<Vec<_>>();
        let keys = UInt32Array::new(ScalarBuffer::from(keys), Some(nulls));
        let words = StringArray::from_iter_values((part.words)());
        arrays.push(Arc::new(DictionaryArray::try_new(keys, Arc::new(words))?));
    }
    let bits = |get: fn(&State) -> u8| {
        let values: Vec<u8> = states.iter().map(get).collect();
        Arc::new(UInt8Array::new(ScalarBuffer::from(values), known.cloned()))
    };
    arrays.push(bits(|s| s.inputs));
    arrays.push(bits(|s| s.outputs));
    Ok(())
}

/// The numbers of a channel; reasons for having none go into `patterns`.
fn channel_column(
    rows: &Rows,
    order: &[u32],
    channel: Channel,
    patterns: &mut [Pattern],
) -> Result<ArrayRef> {
    let Some(cells) = rows.cells(channel) else {
        return Err(ParquetError::General(format!("{channel} has no cells")));
    };
    let whole = cells.values.len() == rows.len();
    let nulls = if whole && cells.absent.is_empty() {
        None
    } else {
        let codes: Vec<u8> = gather(order, |row| cells.absence(row));
        for (pattern, code) in patterns.iter_mut().zip(&codes) {
            *pattern |= words::mark(channel, *code);
        }
        Some(codes.iter().map(|code| *code == 0).collect::<NullBuffer>()).filter(|n| n.null_count() > 0)
    };
    let number = |row: usize| cells.values.get(row).map_or(0, |number| i64::from(*number));
    Ok(decimals(gather(order, number), nulls, channel))
}

fn decimals(values: Vec<i64>, nulls: Option<NullBuffer>, channel: Channel) -> ArrayRef {
    let array = Decimal64Array::new(ScalarBuffer::from(values), nulls);
    Arc::new(array.with_data_type(Form::Memory.channel(channel)))
}

fn text<'a>(words: impl Iterator<Item = Option<&'a str>>) -> ArrayRef {
    Arc::new(words.collect::<DictionaryArray<UInt32Type>>())
}

/// Status texts of a file, each made once.
#[derive(Default)]
struct StatusWords {
    known: HashMap<Pattern, u32>,
    texts: Vec<String>,
}

impl StatusWords {
    fn column(&mut self, patterns: &[Pattern]) -> Result<ArrayRef> {
        let mut last = (0, 0);
        let mut keys = Vec::with_capacity(patterns.len());
        for &pattern in patterns {
            if pattern != last.0 {
                let texts = &mut self.texts;
                let key = *self.known.entry(pattern).or_insert_with(|| {
                    texts.push(words::status_text(pattern));
                    texts.len() as u32 - 1
                });
                last = (pattern, key);
            }
            keys.push(last.1);
        }
        let nulls: NullBuffer = patterns.iter().map(|p| *p != 0).collect();
        let values = StringArray::from_iter_values(&self.texts);
        let keys = UInt32Array::new(ScalarBuffer::from(keys), Some(nulls));
        Ok(Arc::new(DictionaryArray::try_new(keys, Arc::new(values))?))
    }
}
