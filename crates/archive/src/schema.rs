use std::collections::BTreeMap;
use std::collections::HashMap;
use std::sync::Arc;

use arrow::datatypes::{DataType, Field, Schema, TimeUnit};
use parquet::file::metadata::KeyValue;
use rimeline_channels::Channel;
use serde::Serialize;

use crate::manifest::FORMAT;

/// Names of the columns that are no channels.
pub(crate) mod column {
    pub(crate) const UNIT: &str = "unit";
    pub(crate) const TIME: &str = "time";
    pub(crate) const RECEIVED: &str = "received";
    pub(crate) const LATE: &str = "late";
    pub(crate) const STATUS: &str = "status";
    pub(crate) const INPUTS: &str = "inputs";
    pub(crate) const OUTPUTS: &str = "outputs";
    pub(crate) const KIND: &str = "kind";
    pub(crate) const SET_POINT: &str = "set_point";
    pub(crate) const ALARM_CODE: &str = "alarm_code";
    pub(crate) const ALARM_TEXT: &str = "alarm_text";
    pub(crate) const BY_PERSON: &str = "by_person";
}

/// Digits of a channel: enough for any stored number. Its 64 bits cost nothing over 32: deltas are packed the same.
const DIGITS: u8 = 10;

/// Arrow types of a file: as arrays in memory, or as published in its metadata for other programs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Form {
    /// Dictionary strings and narrow decimals: what is written from and merged from.
    Memory,
    /// Plain strings and 128-bit decimals, the forms that every reader of Arrow schemas knows.
    Published,
}

impl Form {
    fn text(self) -> DataType {
        match self {
            Self::Memory => dictionary(),
            Self::Published => DataType::Utf8,
        }
    }

    pub(crate) fn channel(self, channel: Channel) -> DataType {
        let scale = channel.decimals() as i8;
        match self {
            Self::Memory => DataType::Decimal64(DIGITS, scale),
            Self::Published => DataType::Decimal128(DIGITS, scale),
        }
    }

    fn channel_field(self, channel: Channel) -> Field {
        let spec = channel.spec();
        Field::new(spec.name, self.channel(channel), true).with_metadata(HashMap::from([
            ("ucum".to_owned(), spec.measure.code().to_owned()),
            ("decimals".to_owned(), spec.decimals.to_string()),
        ]))
    }
}

pub(crate) fn dictionary() -> DataType {
    DataType::Dictionary(Box::new(DataType::UInt32), Box::new(DataType::Utf8))
}

fn moment() -> DataType {
    DataType::Timestamp(TimeUnit::Millisecond, Some("UTC".into()))
}

fn head(form: Form) -> Vec<Field> {
    vec![
        Field::new(column::UNIT, form.text(), false),
        Field::new(column::TIME, moment(), false),
        Field::new(column::RECEIVED, moment(), false),
        Field::new(column::LATE, DataType::Boolean, false),
    ]
}

fn state(form: Form, nullable: bool) -> Vec<Field> {
    let words = crate::words::PARTS.iter().map(|part| Field::new(part.name, form.text(), true));
    let bits = [column::INPUTS, column::OUTPUTS].map(|name| Field::new(name, DataType::UInt8, nullable));
    words.chain(bits).collect()
}

/// Columns of a file of readings.
pub(crate) fn readings(form: Form, channels: &[Channel]) -> Arc<Schema> {
    let mut fields = head(form);
    fields.extend(state(form, false));
    fields.extend(channels.iter().map(|c| form.channel_field(*c)));
    fields.push(Field::new(column::STATUS, form.text(), true));
    Arc::new(Schema::new(fields))
}

/// Columns of a file of events.
pub(crate) fn events(form: Form) -> Arc<Schema> {
    let mut fields = head(form);
    fields.push(Field::new(column::KIND, form.text(), false));
    fields.extend(state(form, true));
    fields.push(form.channel_field(Channel::SetPoint));
    fields.push(Field::new(column::ALARM_CODE, form.text(), true));
    fields.push(Field::new(column::ALARM_TEXT, form.text(), true));
    fields.push(Field::new(column::BY_PERSON, DataType::Boolean, true));
    Arc::new(Schema::new(fields))
}

/// What a reader without Arrow finds about a channel under `rimeline.channels`.
#[derive(Serialize)]
struct Described {
    ucum: &'static str,
    decimals: u8,
}

/// Key-value metadata of a file: the published Arrow schema, and the same facts as plain text.
pub(crate) fn metadata(published: &Schema, channels: &[Channel], first: u64, last: u64) -> Vec<KeyValue> {
    let described: BTreeMap<_, _> = channels
        .iter()
        .map(|c| c.spec())
        .map(|s| (s.name, Described { ucum: s.measure.code(), decimals: s.decimals }))
        .collect();
    let pair = |key: &str, value: String| KeyValue { key: key.to_owned(), value: Some(value) };
    vec![
        pair("ARROW:schema", parquet::arrow::encode_arrow_schema(published)),
        pair("rimeline.contract", CONTRACT.to_owned()),
        pair("rimeline.writer", env!("CARGO_PKG_VERSION").to_owned()),
        pair("rimeline.format", FORMAT.to_string()),
        pair("rimeline.positions", format!("{first}-{last}")),
        pair("rimeline.channels", serde_json::to_string(&described).unwrap_or_default()),
    ]
}

/// The public contract whose channels, words and units of measure the files use.
pub const CONTRACT: &str = "rimeline.v1";
