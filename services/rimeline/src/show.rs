//! Words, times and tables for people.

use std::io::{ErrorKind, Write, stderr, stdout};

use anyhow::{Context, Result};
use comfy_table::{ContentArrangement, Table, presets};
use jiff::Timestamp;
use jiff::civil::{Date, DateTime};
use jiff::tz::TimeZone;
use rimeline_channels::Channel;
use rimeline_detector::Condition;
use rimeline_wire::pb;

/// Writes to standard output; a reader that went away is not an error.
pub(crate) fn out(text: &str) -> Result<()> {
    let mut stdout = stdout().lock();
    match stdout
        .write_all(text.as_bytes())
        .and_then(|()| stdout.write_all(b"\n"))
        .and_then(|()| stdout.flush())
    {
        Err(error) if error.kind() == ErrorKind::BrokenPipe => std::process::exit(0),
        written => written.context("standard output cannot be written to"),
    }
}

/// Writes a remark to standard error.
pub(crate) fn remark(text: &str) {
    // Nobody is left to tell when standard error is gone.
    let _ = writeln!(stderr().lock(), "{text}");
}

/// Why a command failed, outermost first.
pub(crate) fn problem(error: &anyhow::Error) {
    remark(&format!("rimeline: {error:#}"));
}

/// A table with a header and thin lines.
pub(crate) fn table(header: &[&str]) -> Table {
    let mut table = Table::new();
    table
        .load_style(presets::UTF8_HORIZONTAL_ONLY)
        .set_content_arrangement(ContentArrangement::Dynamic)
        .set_header(header.to_vec());
    if table.width().is_none() {
        table.set_width(160);
    }
    table
}

/// A time for people, in UTC, to the minute.
pub(crate) fn time(ms: i64) -> String {
    moment(ms, "%Y-%m-%d %H:%MZ")
}

/// A day for people.
pub(crate) fn day(ms: i64) -> String {
    moment(ms, "%a %d %b")
}

fn moment(ms: i64, format: &str) -> String {
    if ms == 0 {
        return "-".to_owned();
    }
    Timestamp::from_millisecond(ms)
        .map_or_else(|_| format!("{ms} ms"), |time| time.strftime(format).to_string())
}

/// A time for programs; `None` for 0.
pub(crate) fn rfc3339(ms: i64) -> Option<String> {
    (ms != 0).then(|| Timestamp::from_millisecond(ms).ok().map(|time| time.to_string())).flatten()
}

/// A date, a date with a time, or an RFC 3339 time; without an offset it is UTC.
pub(crate) fn parse_time(text: &str) -> Result<i64> {
    let utc = |time: DateTime| time.to_zoned_datetime(TimeZone::UTC).map(|zoned| zoned.timestamp());
    let time = text
        .parse::<Timestamp>()
        .or_else(|_| text.parse::<DateTime>().and_then(utc))
        .or_else(|_| text.parse::<Date>().and_then(|date| utc(date.at(0, 0, 0, 0))))
        .with_context(|| format!("`{text}` is no time; 2026-03-02 or 2026-03-02T06:00:00Z is"))?;
    Ok(time.as_millisecond())
}

/// The first thing a text says, for a list; the whole stands with the case.
pub(crate) fn opening(text: &str) -> &str {
    let end = text.find([';', '.', ':']).unwrap_or(text.len());
    &text[..end]
}

/// Hours in the unit that reads best.
pub(crate) fn hours(hours: f64) -> String {
    if hours < 1.0 {
        format!("{:.0} min", hours * 60.0)
    } else if hours < 48.0 {
        format!("{hours:.0} h")
    } else {
        format!("{:.0} days", hours / 24.0)
    }
}

pub(crate) fn condition(number: i32) -> String {
    Condition::from_number(number)
        .map_or_else(|| format!("condition {number}"), |c| c.name().replace('_', " "))
}

pub(crate) fn channel(number: i32) -> String {
    Channel::from_number(number).map_or_else(|| format!("channel {number}"), |c| c.name().replace('_', " "))
}

pub(crate) fn priority(number: i32) -> &'static str {
    match pb::Priority::try_from(number) {
        Ok(pb::Priority::High) => "HIGH",
        Ok(pb::Priority::Medium) => "medium",
        Ok(pb::Priority::Low) => "low",
        _ => "-",
    }
}

/// A word of the contract in lower case, without its enumeration's name.
pub(crate) fn word(name: &str, prefix: &str) -> String {
    let word = name.strip_prefix(prefix).unwrap_or(name);
    if word == "UNSPECIFIED" { "-".to_owned() } else { word.to_lowercase().replace('_', " ") }
}

pub(crate) fn cargo(number: i32) -> String {
    pb::CargoClass::try_from(number)
        .map_or_else(|_| "-".to_owned(), |c| word(c.as_str_name(), "CARGO_CLASS_"))
}

pub(crate) fn stage(number: i32) -> String {
    pb::CaseStage::try_from(number).map_or_else(|_| "-".to_owned(), |s| word(s.as_str_name(), "CASE_STAGE_"))
}

/// A series drawn in one line of text, the lowest value at the bottom; wider series are drawn by the highest of
/// neighbours, so that no peak is lost.
pub(crate) fn strip(values: &[f64], width: usize) -> String {
    const BARS: [char; 8] = ['▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];
    let finite = || values.iter().copied().filter(|v| v.is_finite());
    let (low, high) = finite().fold((f64::MAX, f64::MIN), |(low, high), v| (low.min(v), high.max(v)));
    if low > high {
        return String::new();
    }
    let span = (high - low).max(f64::MIN_POSITIVE);
    let group = values.len().div_ceil(width.max(1)).max(1);
    let bar = |group: &[f64]| {
        let top = group.iter().copied().fold(f64::MIN, f64::max);
        BARS[(((top - low) / span) * 7.0).round().clamp(0.0, 7.0) as usize]
    };
    values.chunks(group).map(bar).collect()
}

/// The channel catalogue.
pub(crate) fn channels() -> Result<()> {
    let mut table = table(&["Channel", "Unit of measure", "Decimals", "Physical span", "SPN"]);
    for channel in Channel::ALL {
        let spec = channel.spec();
        table.add_row([
            spec.name.to_owned(),
            spec.measure.code().to_owned(),
            spec.decimals.to_string(),
            format!("{} .. {}", spec.span.0, spec.span.1),
            spec.spn.map_or_else(|| "-".to_owned(), |spn| spn.to_string()),
        ]);
    }
    out(&table.to_string())
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn a_date_and_a_time_mean_utc_unless_they_say_otherwise() {
        assert_eq!(parse_time("1970-01-02").unwrap(), 86_400_000);
        assert_eq!(parse_time("1970-01-02T00:00:01").unwrap(), 86_401_000);
        assert_eq!(parse_time("1970-01-02T01:00:00+01:00").unwrap(), 86_400_000);
        assert!(parse_time("tomorrow").is_err());
    }

    #[test]
    fn a_strip_keeps_the_peak_when_it_is_narrower_than_the_series() {
        assert_eq!(strip(&[0.0, 0.0, 7.0, 0.0], 2), "▁█");
        assert_eq!(strip(&[], 5), "");
        assert_eq!(strip(&[3.0], 5), "▁");
    }
}
