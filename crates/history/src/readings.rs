use std::sync::Arc;

use polars::prelude::*;
use rimeline_archive::{Dataset, Snapshot};
use rimeline_channels::{Channel, Id, Reading, UnixMs};

use crate::scan::runs;
use crate::{History, HistoryError, Series};

const UNIT: &str = "unit";
const TIME: &str = "time";

/// One unit's readings, by time, each time once.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Readings {
    /// When, in Unix milliseconds.
    pub times: Vec<UnixMs>,
    /// The channels asked for, in that order; where none was named, those with a number, in catalogue order.
    pub columns: Vec<ReadingsColumn>,
}

/// One channel over all times of a [`Readings`].
#[derive(Clone, Debug, PartialEq)]
pub struct ReadingsColumn {
    /// Which channel.
    pub channel: Channel,
    /// Per time, the quantity in the channel's unit of measure; NaN where there is no number.
    pub values: Vec<f64>,
}

impl Readings {
    /// Each channel's numbers alone, with their times.
    pub fn series(&self) -> Vec<Series> {
        let series = |column: &ReadingsColumn| {
            let numbers = self.times.iter().zip(&column.values).filter(|(_, value)| !value.is_nan());
            let (times, values) = numbers.map(|(time, value)| (*time, *value)).unzip();
            Series { channel: column.channel, times, values }
        };
        self.columns.iter().map(series).collect()
    }

    /// Each channel in at most `max_points` points, see [`Series::downsample`]. 0: every point.
    pub fn downsample(&self, max_points: usize) -> Vec<Series> {
        self.series().iter().map(|series| series.downsample(max_points)).collect()
    }

    /// Sorts by time and keeps, of each time, the row that stands first.
    fn settle(&mut self) {
        if self.times.is_sorted_by(|a, b| a < b) {
            return;
        }
        let mut order: Vec<usize> = (0..self.times.len()).collect();
        order.sort_by_key(|&row| self.times[row]);
        order.dedup_by_key(|row| self.times[*row]);
        self.times = order.iter().map(|&row| self.times[row]).collect();
        for column in &mut self.columns {
            column.values = order.iter().map(|&row| column.values[row]).collect();
        }
    }
}

impl History {
    /// One unit's readings in `from..until`, Unix milliseconds. No channel named: every channel that has a number.
    pub fn readings(
        &self,
        unit: &Id,
        from: UnixMs,
        until: UnixMs,
        channels: &[Channel],
    ) -> Result<Readings, HistoryError> {
        if until < from {
            return Err(HistoryError::Span { from, until });
        }
        let wanted = if channels.is_empty() { Channel::ALL } else { channels };
        let mut readings = self.ask(
            || self.view(unit, from, until),
            |snapshot| snapshot.files_in(Dataset::Readings, Some(unit), from, until).cloned().collect(),
            |files, tail| {
                let columns = wanted.iter().map(|&channel| ReadingsColumn { channel, values: Vec::new() });
                let mut readings = Readings { times: Vec::new(), columns: columns.collect() };
                for run in runs(self.store.as_ref(), files)? {
                    let found = run.frame.filter(col(UNIT).eq(lit(unit.as_str())));
                    let found = found.select(selection(wanted, run.channels)).collect()?;
                    append_frame(&mut readings, &found, from, until)?;
                }
                append_tail(&mut readings, &tail);
                Ok(readings)
            },
        )?;
        readings.settle();
        if channels.is_empty() {
            readings.columns.retain(|column| column.values.iter().any(|value| !value.is_nan()));
        }
        Ok(readings)
    }

    /// Files, and one unit's rows that are in none of them.
    fn view(
        &self,
        unit: &Id,
        from: UnixMs,
        until: UnixMs,
    ) -> Result<(Arc<Snapshot>, Vec<Reading>), HistoryError> {
        match &self.archive {
            Some(archive) => {
                let view = archive.view(unit, from, until);
                Ok((view.snapshot, view.tail))
            }
            None => Ok((Arc::new(Snapshot::load(self.store.as_ref())?), Vec::new())),
        }
    }
}

/// Time and the wanted channels that the files have, as numbers.
fn selection(wanted: &[Channel], present: u64) -> Vec<Expr> {
    let channels = wanted.iter().filter(|c| present & c.bit() != 0);
    let channels = channels.map(|c| col(c.name()).cast(DataType::Float64));
    std::iter::once(col(TIME).cast(DataType::Int64)).chain(channels).collect()
}

fn append_frame(readings: &mut Readings, frame: &DataFrame, from: UnixMs, until: UnixMs) -> PolarsResult<()> {
    let times = frame.column(TIME)?.i64()?;
    let inside: Vec<bool> =
        times.iter().map(|time| time.is_some_and(|time| (from..until).contains(&time))).collect();
    let inside = |row: &usize| inside[*row];
    readings.times.extend(times.iter().flatten().filter(|time| (from..until).contains(time)));
    for column in &mut readings.columns {
        let Ok(values) = frame.column(column.channel.name()) else {
            column.values.resize(readings.times.len(), f64::NAN);
            continue;
        };
        let values = values.f64()?.iter().enumerate().filter(|(row, _)| inside(row));
        column.values.extend(values.map(|(_, value)| value.unwrap_or(f64::NAN)));
    }
    Ok(())
}

fn append_tail(readings: &mut Readings, tail: &[Reading]) {
    readings.times.extend(tail.iter().map(|reading| reading.time));
    for column in &mut readings.columns {
        let channel = column.channel;
        column.values.extend(tail.iter().map(|reading| reading.quantity(channel).unwrap_or(f64::NAN)));
    }
}
