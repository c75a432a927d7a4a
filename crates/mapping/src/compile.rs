//! From TOML text to a checked mapping. Every fault is found in one go.

use rimeline_channels::{Absence, Channel, Id, State};

use crate::{
    Fault, Load, Mapping, MappingError, UnitDescription,
    channel::{ChannelRule, Tokens, fixed},
    document::{ChannelSource, Document, UnitSource, unknown_channel},
    mapping::{UnitFrom, UnitRule},
    state_compile,
    time::{Format, TimeRule},
};

/// Collects columns and faults while a mapping is checked.
#[derive(Default)]
pub(crate) struct Compiler {
    pub(crate) columns: Vec<String>,
    pub(crate) faults: Vec<Fault>,
}

impl Compiler {
    pub(crate) fn fault(&mut self, place: &str, message: impl Into<String>) {
        self.faults.push(Fault { place: place.to_owned(), message: message.into() });
    }

    /// The index of a column, added where it is new.
    pub(crate) fn column(&mut self, name: &str) -> usize {
        let name = name.trim();
        self.columns.iter().position(|known| known == name).unwrap_or_else(|| {
            self.columns.push(name.to_owned());
            self.columns.len() - 1
        })
    }
}

pub(crate) fn compile(name: &str, text: &str) -> Result<Mapping, MappingError> {
    let document: Document = toml::from_str(text).map_err(|error| MappingError::Toml {
        name: name.to_owned(),
        message: error.to_string().trim_end().to_owned(),
    })?;
    let mut compiler = Compiler::default();
    let mapping = check(&mut compiler, document);
    match mapping {
        Some(mapping) if compiler.faults.is_empty() => Ok(Mapping { columns: compiler.columns, ..mapping }),
        _ => Err(MappingError::Faults { name: name.to_owned(), faults: compiler.faults }),
    }
}

fn check(compiler: &mut Compiler, document: Document) -> Option<Mapping> {
    let unit = unit(compiler, &document.unit);
    let (time, time_columns) = time(compiler, &document);
    let (channels, constants) = channels(compiler, &document);
    let mut state = State::default();
    let states = state_compile::states(compiler, &document.state, &mut state);
    if document.channels.is_empty() && states.is_empty() {
        compiler.fault("[[channels]]", "no column fills a channel or a state; add at least one");
    }
    let rows = document.batches.rows;
    if !(1..=Mapping::MAX_BATCH_ROWS).contains(&rows) {
        compiler.fault("[batches]", format!("rows = {rows}: 1 to {} are possible", Mapping::MAX_BATCH_ROWS));
    }
    if document.batches.sort_rows == 0 {
        compiler.fault("[batches]", "sort_rows = 0: at least 1 is needed");
    }
    if document.csv.max_line_bytes == 0 {
        compiler.fault("[csv]", "max_line_bytes = 0: at least 1 is needed");
    }
    for description in document.unit_description.iter().chain(document.units.values()) {
        check_description(compiler, description);
    }
    for load in document.load.iter().chain(document.loads.values()) {
        check_load(compiler, load);
    }
    let descriptions = by_id(compiler, "[units]", document.units);
    let loads = by_id(compiler, "[loads]", document.loads);
    let mut absent = Tokens::default();
    absent.add(&document.absent, Absence::NotReported);
    Some(Mapping {
        title: document.title,
        columns: Vec::new(),
        unit: unit?,
        time: time?,
        time_columns,
        csv: document.csv,
        batches: document.batches,
        absent,
        channels,
        constants,
        state,
        states,
        description: document.unit_description,
        descriptions,
        load: document.load,
        loads,
    })
}

fn unit(compiler: &mut Compiler, source: &UnitSource) -> Option<UnitRule> {
    let from = match (&source.id, &source.column, source.file_name) {
        (Some(id), None, false) => match Id::new(id) {
            Ok(id) => UnitFrom::Fixed(id),
            Err(error) => {
                compiler.fault("[unit]", error.to_string());
                return None;
            }
        },
        (None, Some(column), false) => UnitFrom::Column(compiler.column(column)),
        (None, None, true) => UnitFrom::FileName,
        _ => {
            compiler.fault(
                "[unit]",
                "exactly one is needed: `id = \"...\"`, `column = \"...\"` or `file_name = true`",
            );
            return None;
        }
    };
    if matches!(from, UnitFrom::Fixed(_)) && !(source.prefix.is_empty() && source.replace.is_empty()) {
        compiler.fault(
            "[unit]",
            "`prefix` and `replace` change ids from a column or file name; write `id` in full",
        );
    }
    if source.replace.iter().any(|replace| replace.from.is_empty()) {
        compiler.fault("[unit]", "`replace`: `from` is empty; give the text to replace");
    }
    Some(UnitRule { from, prefix: source.prefix.clone(), replace: source.replace.clone() })
}

fn time(compiler: &mut Compiler, document: &Document) -> (Option<TimeRule>, Vec<usize>) {
    let source = &document.time;
    let names: Vec<&String> = source.column.iter().chain(&source.columns).collect();
    if names.is_empty() || (source.column.is_some() && !source.columns.is_empty()) {
        compiler
            .fault("[time]", "exactly one is needed: `column = \"...\"` or `columns = [\"...\", \"...\"]`");
    }
    let columns: Vec<usize> = names.iter().map(|name| compiler.column(name)).collect();
    match TimeRule::new(source) {
        Ok(rule)
            if columns.len() > 1 && !matches!(rule.format, Some(Format::Pattern(_) | Format::Rfc3339)) =>
        {
            compiler.fault(
                "[time]",
                "several `columns` are joined by a space; give their `format`, e.g. \"%Y %m %d\"",
            );
            (None, columns)
        }
        Ok(rule) => (Some(rule), columns),
        Err(fault) => {
            compiler.fault("[time]", fault);
            (None, columns)
        }
    }
}

type Channels = (Vec<ChannelRule>, Vec<(Channel, rimeline_channels::Value)>);

fn channels(compiler: &mut Compiler, document: &Document) -> Channels {
    let (mut rules, mut constants) = (Vec::new(), Vec::new());
    let mut seen = Vec::new();
    for (i, source) in document.channels.iter().enumerate() {
        let channel = source.channel.0;
        let place = format!("[[channels]] number {} ({channel})", i + 1);
        if seen.contains(&channel) {
            compiler.fault(&place, "this channel stands twice; keep one of its columns");
        }
        seen.push(channel);
        if !check_numbers(compiler, &place, source) {
            continue;
        }
        match (&source.column, source.constant) {
            (Some(column), None) => {
                let column = compiler.column(column);
                rules.push(ChannelRule::new(source, column, &document.absent));
            }
            (None, Some(constant)) => match fixed(channel, source.unit.0, constant) {
                Some(value) => constants.push((channel, value)),
                None => compiler.fault(&place, format!("constant = {constant} is too large to store")),
            },
            _ => compiler.fault(&place, "exactly one is needed: `column = \"...\"` or `constant = ...`"),
        }
    }
    (rules, constants)
}

fn check_numbers(compiler: &mut Compiler, place: &str, source: &ChannelSource) -> bool {
    let (unit, own) = (source.unit.0, source.channel.0.spec().measure);
    let before = compiler.faults.len();
    if unit.convert(0.0, own).is_none() {
        let (unit, own) = (unit.code(), own.code());
        compiler.fault(
            place,
            format!("unit = {unit:?} does not measure this channel, whose own unit is {own:?}"),
        );
    }
    if source.scale == Some(0.0) {
        compiler.fault(place, "scale = 0 makes every value the same; leave it out or give another");
    }
    let numbers = [
        source.scale,
        source.offset,
        source.constant,
        source.failed_open_above,
        source.failed_open_below,
        source.failed_short_above,
        source.failed_short_below,
    ];
    if numbers.into_iter().flatten().any(|number| !number.is_finite()) {
        compiler.fault(place, "a number is not finite; give a number");
    }
    compiler.faults.len() == before
}

fn check_description(compiler: &mut Compiler, description: &UnitDescription) {
    for name in description.fitted.iter().flatten() {
        if Channel::from_name(name).is_err() {
            compiler.fault("[unit_description] fitted", unknown_channel(name));
        }
    }
    if let Some(zone) = &description.time_zone
        && jiff::tz::TimeZone::get(zone).is_err()
    {
        compiler.fault(
            "[unit_description]",
            format!("time_zone = {zone:?} is no time zone; give an IANA name such as \"Europe/Lisbon\""),
        );
    }
}

fn check_load(compiler: &mut Compiler, load: &Load) {
    for (key, time) in [("from", &load.from), ("until", &load.until)] {
        if let Some(time) = time
            && time.parse::<jiff::Timestamp>().is_err()
        {
            compiler.fault(
                "[load]",
                format!("{key} = {time:?} is no RFC 3339 time; write e.g. \"2024-08-26T00:00:00Z\""),
            );
        }
    }
}

fn by_id<T>(
    compiler: &mut Compiler,
    place: &str,
    named: std::collections::BTreeMap<String, T>,
) -> Vec<(Id, T)> {
    let mut with_ids = Vec::with_capacity(named.len());
    for (name, value) in named {
        match Id::new(&name) {
            Ok(id) => with_ids.push((id, value)),
            Err(error) => compiler.fault(place, error.to_string()),
        }
    }
    with_ids
}
