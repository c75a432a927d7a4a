//! The mapping as it is written in TOML, before its parts are checked against each other.

use std::collections::BTreeMap;

use rimeline_channels::{Channel, Measure};
use serde::{Deserialize, Deserializer, de::Error};

use crate::{Load, UnitDescription, state_source::StateSources};

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Document {
    #[serde(default)]
    pub(crate) title: String,
    pub(crate) unit: UnitSource,
    pub(crate) time: TimeSource,
    #[serde(default)]
    pub(crate) csv: CsvLayout,
    #[serde(default)]
    pub(crate) batches: BatchRule,
    #[serde(default = "usual_absent")]
    pub(crate) absent: Vec<String>,
    #[serde(default)]
    pub(crate) channels: Vec<ChannelSource>,
    #[serde(default)]
    pub(crate) state: StateSources,
    pub(crate) unit_description: Option<UnitDescription>,
    #[serde(default)]
    pub(crate) units: BTreeMap<String, UnitDescription>,
    pub(crate) load: Option<Load>,
    #[serde(default)]
    pub(crate) loads: BTreeMap<String, Load>,
}

fn usual_absent() -> Vec<String> {
    vec![String::new(), "NA".to_owned()]
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct UnitSource {
    pub(crate) id: Option<String>,
    pub(crate) column: Option<String>,
    #[serde(default)]
    pub(crate) file_name: bool,
    #[serde(default)]
    pub(crate) prefix: String,
    #[serde(default)]
    pub(crate) replace: Vec<Replace>,
}

#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Replace {
    pub(crate) from: String,
    pub(crate) to: String,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct TimeSource {
    pub(crate) column: Option<String>,
    #[serde(default)]
    pub(crate) columns: Vec<String>,
    pub(crate) format: Option<String>,
    pub(crate) zone: Option<String>,
    pub(crate) year: Option<i16>,
}

#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(crate) struct CsvLayout {
    pub(crate) delimiter: Byte,
    pub(crate) quote: Byte,
    pub(crate) quoting: bool,
    pub(crate) comment: Option<Byte>,
    pub(crate) header: bool,
    pub(crate) skip_lines: u64,
    pub(crate) decimal_comma: bool,
    pub(crate) encoding: Encoding,
    pub(crate) max_line_bytes: usize,
}

impl Default for CsvLayout {
    fn default() -> Self {
        Self {
            delimiter: Byte(b','),
            quote: Byte(b'"'),
            quoting: true,
            comment: None,
            header: true,
            skip_lines: 0,
            decimal_comma: false,
            encoding: Encoding::Utf8,
            max_line_bytes: 1 << 20,
        }
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
pub(crate) enum Encoding {
    #[serde(rename = "utf-8")]
    Utf8,
    #[serde(rename = "latin-1")]
    Latin1,
}

/// One ASCII character.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Byte(pub(crate) u8);

impl<'de> Deserialize<'de> for Byte {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let text = String::deserialize(from)?;
        match text.as_bytes() {
            [byte] if byte.is_ascii() => Ok(Self(*byte)),
            _ => Err(D::Error::custom(format!(
                "`{text}`: one ASCII character is needed, e.g. \";\" or \"\\t\""
            ))),
        }
    }
}

/// The order in which rows leave.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(crate) enum Order {
    #[default]
    AsGiven,
    MergeByTime,
    SortByTime,
}

#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(crate) struct BatchRule {
    pub(crate) rows: usize,
    pub(crate) order: Order,
    pub(crate) sort_rows: usize,
}

impl Default for BatchRule {
    fn default() -> Self {
        Self { rows: 60, order: Order::AsGiven, sort_rows: 10_000_000 }
    }
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct ChannelSource {
    pub(crate) channel: ChannelName,
    pub(crate) column: Option<String>,
    pub(crate) constant: Option<f64>,
    pub(crate) unit: MeasureCode,
    pub(crate) scale: Option<f64>,
    pub(crate) offset: Option<f64>,
    pub(crate) absent: Option<Vec<String>>,
    #[serde(default)]
    pub(crate) not_fitted: Vec<String>,
    #[serde(default)]
    pub(crate) failed: Vec<String>,
    #[serde(default)]
    pub(crate) failed_open: Vec<String>,
    pub(crate) failed_open_above: Option<f64>,
    pub(crate) failed_open_below: Option<f64>,
    #[serde(default)]
    pub(crate) failed_short: Vec<String>,
    pub(crate) failed_short_above: Option<f64>,
    pub(crate) failed_short_below: Option<f64>,
}

#[derive(Clone, Copy, Debug)]
pub(crate) struct ChannelName(pub(crate) Channel);

impl<'de> Deserialize<'de> for ChannelName {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let name = String::deserialize(from)?;
        Channel::from_name(&name).map(Self).map_err(|_| D::Error::custom(unknown_channel(&name)))
    }
}

pub(crate) fn unknown_channel(name: &str) -> String {
    let known: Vec<_> = Channel::ALL.iter().map(|c| c.name()).collect();
    format!("there is no channel `{name}`; the channels are: {}", known.join(", "))
}

#[derive(Clone, Copy, Debug)]
pub(crate) struct MeasureCode(pub(crate) Measure);

impl<'de> Deserialize<'de> for MeasureCode {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let code = String::deserialize(from)?;
        Measure::from_code(&code).map(Self).map_err(D::Error::custom)
    }
}
