use std::collections::BTreeMap;
use std::sync::Arc;

use polars::prelude::*;
use rimeline_archive::{DataFile, Dataset, Day, Partition, Snapshot, bucket_of};
use rimeline_channels::{Channel, Id, Reading};

use crate::scan::runs;
use crate::{History, HistoryError};

const UNIT: &str = "unit";
const TIME: &str = "time";
const RETURN_AIR: &str = "return_air";
const RUNNING: &str = "running";
const COUNTER: &str = "counter";
const ROWS: &str = "rows";
const STARTS: &str = "starts";
const DUTY: &str = "duty";

/// One unit's day in a few figures.
#[derive(Clone, Debug, PartialEq)]
pub struct UnitDay {
    /// Whose.
    pub unit: Id,
    /// UTC day.
    pub day: Day,
    /// Readings.
    pub rows: u32,
    /// Median of the return air that the unit controls by, Cel; `None` where it was never a number.
    pub return_air_median: Option<f64>,
    /// Share of the readings that tell whether the compressor runs in which it does, 0 to 1; `None` where none tells.
    pub duty: Option<f64>,
    /// Compressor starts: by the unit's own counter where it reports one, else by the readings that see it stopped and
    /// then running, which misses starts between two readings. Starts between the last reading of a day and the first
    /// of the next belong to neither. `None` where neither is known.
    pub starts: Option<u32>,
}

/// Rows of one partition that no file holds yet.
#[derive(Clone, Default)]
struct Tail {
    units: Vec<String>,
    times: Vec<i64>,
    return_air: Vec<Option<f64>>,
    running: Vec<Option<i32>>,
    counter: Vec<Option<i64>>,
}

impl Tail {
    fn push(&mut self, unit: &Id, reading: &Reading) {
        self.units.push(unit.to_string());
        self.times.push(reading.time);
        self.return_air.push(reading.quantity(Channel::ReturnAirControl));
        self.running.push(reading.state.compressor_running().map(i32::from));
        self.counter.push(reading.fixed(Channel::CompressorStarts).map(i64::from));
    }

    fn frame(self) -> PolarsResult<LazyFrame> {
        let columns = vec![
            Column::new(UNIT.into(), self.units),
            Column::new(TIME.into(), self.times),
            Column::new(RETURN_AIR.into(), self.return_air),
            Column::new(RUNNING.into(), self.running),
            Column::new(COUNTER.into(), self.counter),
        ];
        Ok(DataFrame::new_infer_height(columns)?.lazy())
    }
}

type Tails = BTreeMap<Partition, Tail>;

impl History {
    /// Daily figures of one unit or of all, for the days `from..until`, by day and unit. Days without a reading are
    /// left out.
    pub fn daily(&self, unit: Option<&Id>, from: Day, until: Day) -> Result<Vec<UnitDay>, HistoryError> {
        let (start, end) = (from.start_ms(), until.start_ms());
        if end < start {
            return Err(HistoryError::Span { from: start, until: end });
        }
        let choose = |snapshot: &Snapshot| {
            snapshot.files_in(Dataset::Readings, unit, start, end).cloned().collect::<Vec<_>>()
        };
        let found = self.ask(
            || self.tails(unit, start, end),
            choose,
            |files, mut tails| {
                let mut found = Vec::new();
                // One partition at a time, so that memory does not grow with the span.
                for files in files.chunk_by(|a, b| a.partition == b.partition) {
                    let partition = files[0].partition;
                    let tail = tails.remove(&partition);
                    found.push((partition.day, self.figures(files, tail, unit)?));
                }
                for (partition, tail) in tails {
                    found.push((partition.day, self.figures(&[], Some(tail), unit)?));
                }
                Ok(found)
            },
        )?;
        let mut days = Vec::new();
        for (day, frame) in &found {
            self.collect_days(*day, frame, &mut days)?;
        }
        days.sort_by(|a, b| (a.day, &a.unit).cmp(&(b.day, &b.unit)));
        Ok(days)
    }

    fn tails(
        &self,
        unit: Option<&Id>,
        from: i64,
        until: i64,
    ) -> Result<(Arc<Snapshot>, Tails), HistoryError> {
        let Some(archive) = &self.archive else {
            return Ok((Arc::new(Snapshot::load(self.store.as_ref())?), Tails::new()));
        };
        let buckets = archive.snapshot().buckets();
        let mut tails = Tails::new();
        let snapshot = archive.visit_tail(unit, from, until, |unit, reading| {
            let (day, bucket) = (Day::of(reading.time), bucket_of(unit, buckets));
            let partition = Partition { dataset: Dataset::Readings, day, bucket };
            tails.entry(partition).or_default().push(unit, &reading);
        });
        Ok((snapshot, tails))
    }

    /// The figures of one partition.
    fn figures(
        &self,
        files: &[Arc<DataFile>],
        tail: Option<Tail>,
        unit: Option<&Id>,
    ) -> PolarsResult<DataFrame> {
        let tidy = files.len() == 1 && tail.is_none();
        let mut frames = Vec::new();
        for run in runs(self.store.as_ref(), files)? {
            let frame = match unit {
                Some(unit) => run.frame.filter(col(UNIT).eq(lit(unit.as_str()))),
                None => run.frame,
            };
            frames.push(frame.select(selection(run.channels)));
        }
        if let Some(tail) = tail {
            frames.push(tail.frame()?);
        }
        let mut rows = concat(frames, UnionArgs::default())?;
        if !tidy {
            // Stable: of one time the row that was archived first stays first.
            let stable = SortMultipleOptions::default().with_maintain_order(true);
            rows = rows
                .unique_stable_generic(Some(vec![col(UNIT), col(TIME)]), UniqueKeepStrategy::First)
                .sort([UNIT, TIME], stable);
        }
        rows.group_by([col(UNIT)]).agg(aggregates()).collect()
    }

    fn collect_days(&self, day: Day, frame: &DataFrame, days: &mut Vec<UnitDay>) -> Result<(), HistoryError> {
        let read = || -> PolarsResult<_> {
            Ok((
                frame.column(UNIT)?.str()?,
                frame.column(ROWS)?.u32()?,
                frame.column(RETURN_AIR)?.f64()?,
                frame.column(DUTY)?.f64()?,
                frame.column(STARTS)?.i64()?,
            ))
        };
        let (units, rows, return_air, duty, starts) = read().map_err(|source| HistoryError::Scan {
            files: format!("the figures of {day}"),
            place: self.store.place(),
            source: Box::new(source),
        })?;
        for row in 0..frame.height() {
            let text = units.get(row).unwrap_or_default();
            let unknown = || HistoryError::Unknown { place: self.store.place(), what: text.to_owned() };
            days.push(UnitDay {
                unit: Id::new(text).map_err(|_| unknown())?,
                day,
                rows: rows.get(row).unwrap_or(0),
                return_air_median: return_air.get(row),
                duty: duty.get(row),
                starts: starts.get(row).map(|starts| u32::try_from(starts).unwrap_or(0)),
            });
        }
        Ok(())
    }
}

fn selection(channels: u64) -> Vec<Expr> {
    let number = |channel: Channel, kind: DataType| {
        if channels & channel.bit() == 0 { lit(NULL).cast(kind) } else { col(channel.name()).cast(kind) }
    };
    vec![
        col(UNIT),
        col(TIME).cast(DataType::Int64),
        number(Channel::ReturnAirControl, DataType::Float64).alias(RETURN_AIR),
        running().alias(RUNNING),
        number(Channel::CompressorStarts, DataType::Int64).alias(COUNTER),
    ]
}

/// 1 where the compressor runs, 0 where it does not, null where nothing tells: as
/// [`State::compressor_running`](rimeline_channels::State::compressor_running).
fn running() -> Expr {
    let is = |column: &str, word: &str| col(column).eq(lit(word)).fill_null(lit(false));
    let stopped = is("compressor", "stopped").or(is("power", "off"));
    let cooling = is("stage", "cooling_low").or(is("stage", "cooling_high"));
    let resting = is("stage", "satisfied").and(is("running_mode", "start_stop"));
    when(is("compressor", "running"))
        .then(lit(1))
        .when(stopped)
        .then(lit(0))
        .when(cooling)
        .then(lit(1))
        .when(is("stage", "stopped_on_fault").or(resting))
        .then(lit(0))
        .otherwise(lit(NULL))
        .cast(DataType::Int32)
}

fn aggregates() -> Vec<Expr> {
    let steps = |column: &str| {
        let known = col(column).drop_nulls();
        known.clone() - known.shift(lit(1))
    };
    let counted = steps(COUNTER).filter(steps(COUNTER).gt(lit(0))).sum().cast(DataType::Int64);
    let seen = steps(RUNNING).eq(lit(1)).sum().cast(DataType::Int64);
    let starts = when(col(COUNTER).count().gt(lit(0)))
        .then(counted)
        .when(col(RUNNING).count().gt(lit(0)))
        .then(seen)
        .otherwise(lit(NULL));
    vec![
        len().cast(DataType::UInt32).alias(ROWS),
        col(RETURN_AIR).median(),
        col(RUNNING).mean().alias(DUTY),
        starts.cast(DataType::Int64).alias(STARTS),
    ]
}
