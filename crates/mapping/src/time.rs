//! The time of a row: columns, format, zone, and what happens where clocks are changed.

use std::fmt::Write as _;

use jiff::{
    Timestamp, ToSpan as _,
    civil::DateTime,
    fmt::{strtime::BrokenDownTime, temporal::DateTimeParser},
    tz::{AmbiguousOffset, TimeZone},
};
use rimeline_channels::{HOUR_MS, UnixMs};

use crate::{cell::Cell, document::TimeSource};

#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Format {
    /// A number of this many in a second, from 1970-01-01T00:00:00Z.
    Unix(i64),
    Rfc3339,
    Pattern(String),
}

/// How a row's time is read.
#[derive(Clone, Debug)]
pub(crate) struct TimeRule {
    pub(crate) format: Option<Format>,
    pub(crate) zone: Option<TimeZone>,
    year: Option<i16>,
}

/// A row's time, or why there is none.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Told {
    At(UnixMs),
    /// The local time happened twice; the first is taken.
    Twice(UnixMs),
    /// The local time never happened; the clock that was not set forward yet is taken.
    Never(UnixMs),
    Bad(String),
}

impl TimeRule {
    /// Checks the section; the faults say what to change.
    pub(crate) fn new(source: &TimeSource) -> Result<Self, String> {
        let format = match source.format.as_deref() {
            None => None,
            Some("unix_s") => Some(Format::Unix(1)),
            Some("unix_ms") => Some(Format::Unix(1_000)),
            Some("unix_us") => Some(Format::Unix(1_000_000)),
            Some("unix_ns") => Some(Format::Unix(1_000_000_000)),
            Some("rfc3339") => Some(Format::Rfc3339),
            Some(pattern) => Some(Format::Pattern(pattern.to_owned())),
        };
        let zone = match source.zone.as_deref() {
            None => None,
            Some(name) => Some(TimeZone::get(name).map_err(|_| {
                format!(
                    "zone = {name:?} is no time zone; give an IANA name such as \"Europe/Lisbon\", or \"UTC\""
                )
            })?),
        };
        if let Some(Format::Pattern(pattern)) = &format {
            check_pattern(pattern, source.year, zone.is_some())?;
        }
        Ok(Self { format, zone, year: source.year })
    }

    /// The time told by the cell of the one time column.
    pub(crate) fn read(&self, cell: Cell<'_>) -> Told {
        match (cell, &self.format) {
            (Cell::Missing | Cell::Text(""), _) => Told::Bad("there is no time".to_owned()),
            (Cell::Instant(ms), _) => Told::At(ms),
            (Cell::Civil(ms), _) => match Timestamp::from_millisecond(ms) {
                Ok(stamp) => self.local(TimeZone::UTC.to_datetime(stamp)),
                Err(error) => Told::Bad(error.to_string()),
            },
            (Cell::Integer(number), Some(Format::Unix(per_second))) => unix(i128::from(number), *per_second),
            (Cell::Number(number), Some(Format::Unix(per_second))) => unix_fraction(number, *per_second),
            (cell, _) => self.read_text(&cell.text().unwrap_or_default()),
        }
    }

    /// The time told by a text.
    pub(crate) fn read_text(&self, text: &str) -> Told {
        match &self.format {
            None => Told::Bad("the mapping gives no `format` for a time that is text".to_owned()),
            Some(Format::Unix(per_second)) => match text.parse::<i64>() {
                Ok(number) => unix(i128::from(number), *per_second),
                Err(_) => text.parse::<f64>().map_or_else(
                    |_| Told::Bad("it is no number of seconds".to_owned()),
                    |number| unix_fraction(number, *per_second),
                ),
            },
            Some(Format::Rfc3339) => self.attempt(text, rfc3339),
            Some(Format::Pattern(pattern)) => self.attempt(text, |text| {
                let mut parts = BrokenDownTime::parse(pattern, text).map_err(|error| error.to_string())?;
                if parts.year().is_none() && self.year.is_some() {
                    parts.set_year(self.year).map_err(|error| error.to_string())?;
                }
                let stamp = match (parts.timestamp(), parts.offset()) {
                    (Some(_), _) | (_, Some(_)) => {
                        Some(parts.to_timestamp().map_err(|error| error.to_string())?)
                    }
                    _ => None,
                };
                let local = match (stamp, parts.timestamp()) {
                    (Some(stamp), Some(_)) => TimeZone::UTC.to_datetime(stamp),
                    _ => parts.to_datetime().map_err(|error| error.to_string())?,
                };
                Ok(Parsed { local, stamp })
            }),
        }
    }

    /// Parses a text; where that fails, as the midnight that some loggers write as 24:00:00.
    fn attempt(&self, text: &str, parse: impl Fn(&str) -> Result<Parsed, String>) -> Told {
        match parse(text) {
            Ok(Parsed { stamp: Some(stamp), .. }) => Told::At(stamp.as_millisecond()),
            Ok(Parsed { local, .. }) => self.local(local),
            Err(why) => self.end_of_day(text, &parse).unwrap_or(Told::Bad(why)),
        }
    }

    /// 24:00:00 is the next day's midnight. Each "24" is tried as 23: the one that turns out to be the hour, with
    /// nothing but zeros after it, was it.
    fn end_of_day(&self, text: &str, parse: &impl Fn(&str) -> Result<Parsed, String>) -> Option<Told> {
        let hour_before = text.match_indices("24").find_map(|(at, found)| {
            let with_23 = format!("{}23{}", &text[..at], &text[at + found.len()..]);
            parse(&with_23).ok().filter(|parsed| parsed.local.time() == jiff::civil::time(23, 0, 0, 0))
        })?;
        match hour_before {
            Parsed { stamp: Some(stamp), .. } => Some(Told::At(stamp.as_millisecond() + HOUR_MS)),
            Parsed { local, .. } => local.checked_add(1.hour()).ok().map(|midnight| self.local(midnight)),
        }
    }

    /// A local time as a moment. Where clocks are changed, the offset that held before the change is taken.
    fn local(&self, local: DateTime) -> Told {
        let Some(zone) = &self.zone else {
            return Told::Bad("it is a local time and the mapping gives no `zone`".to_owned());
        };
        let ambiguous = zone.to_ambiguous_timestamp(local);
        let kind = ambiguous.offset();
        match ambiguous.compatible() {
            Err(error) => Told::Bad(error.to_string()),
            Ok(stamp) => match kind {
                AmbiguousOffset::Unambiguous { .. } => Told::At(stamp.as_millisecond()),
                AmbiguousOffset::Fold { .. } => Told::Twice(stamp.as_millisecond()),
                AmbiguousOffset::Gap { .. } => Told::Never(stamp.as_millisecond()),
            },
        }
    }
}

/// A local time, and the moment where the text itself says it.
struct Parsed {
    local: DateTime,
    stamp: Option<Timestamp>,
}

fn rfc3339(text: &str) -> Result<Parsed, String> {
    const PARSER: DateTimeParser = DateTimeParser::new();
    let pieces = PARSER.parse_pieces(text).map_err(|error| error.to_string())?;
    let time = pieces.time().ok_or("it has no time of day")?;
    let offset = pieces.to_numeric_offset().ok_or("it has no offset such as Z or +01:00")?;
    let local = pieces.date().to_datetime(time);
    let stamp = offset.to_timestamp(local).map_err(|error| error.to_string())?;
    Ok(Parsed { local, stamp: Some(stamp) })
}

/// Columns of one time, joined by a space.
pub(crate) fn join<'a>(cells: impl Iterator<Item = Cell<'a>>, into: &mut String) {
    into.clear();
    for cell in cells {
        if !into.is_empty() {
            into.push(' ');
        }
        // A whole number may be stored as a float: 2013.0 is the year 2013, and prints as "2013".
        let _ = write!(into, "{}", cell.text().unwrap_or_default());
    }
}

fn unix(number: i128, per_second: i64) -> Told {
    let ms = number.saturating_mul(1_000).div_euclid(i128::from(per_second));
    match i64::try_from(ms).ok().and_then(|ms| Timestamp::from_millisecond(ms).ok()) {
        Some(stamp) => Told::At(stamp.as_millisecond()),
        None => Told::Bad("it is beyond the year 9999; is `format` the right power of ten?".to_owned()),
    }
}

fn unix_fraction(number: f64, per_second: i64) -> Told {
    if number.is_finite() {
        // Saturates, and what saturates is out of range.
        unix((number * 1_000.0 / per_second as f64).round() as i128, 1_000)
    } else {
        Told::Bad("it is not finite".to_owned())
    }
}

/// Writes a time in the pattern and reads it back: what does not return cannot be read from a file either.
fn check_pattern(pattern: &str, year: Option<i16>, has_zone: bool) -> Result<(), String> {
    let unusable = |why: String| format!("format = {pattern:?} cannot be used: {why}");
    let sample = jiff::civil::date(2024, 8, 26)
        .at(13, 14, 15, 0)
        .to_zoned_datetime(TimeZone::UTC)
        .map_err(|error| unusable(error.to_string()))?;
    let text = jiff::fmt::strtime::format(pattern, &sample).map_err(|error| unusable(error.to_string()))?;
    let mut parts = BrokenDownTime::parse(pattern, &text).map_err(|error| unusable(error.to_string()))?;
    let absolute = parts.timestamp().is_some();
    if parts.year().is_none() && !absolute {
        match year {
            Some(_) => parts.set_year(year).map_err(|error| unusable(error.to_string()))?,
            None => {
                return Err(unusable("it has no year (%Y); add `year = 2024` or the like".to_owned()));
            }
        }
    }
    if !absolute {
        parts.to_datetime().map_err(|error| unusable(error.to_string()))?;
    }
    if parts.offset().is_none() && !absolute && !has_zone {
        return Err(unusable(
            "it gives local times; add `zone`, an IANA name such as \"Europe/Lisbon\", or \"UTC\"".to_owned(),
        ));
    }
    Ok(())
}
