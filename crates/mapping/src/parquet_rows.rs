//! Rows of a Parquet file, only the columns that are needed.

use std::sync::Arc;

use arrow::{
    array::{Array, ArrayRef, AsArray as _, RecordBatch},
    compute::cast,
    datatypes::{DataType, Float64Type, Int64Type, TimeUnit, TimestampMillisecondType},
    error::ArrowError,
};
use parquet::{
    arrow::{ProjectionMask, arrow_reader::ParquetRecordBatchReaderBuilder},
    file::reader::ChunkReader,
};

use crate::{Place, cell::Cell};

/// Rows that are decoded at a time.
const ROWS: usize = 4096;

type Batches = Box<dyn Iterator<Item = Result<RecordBatch, ArrowError>> + Send>;

pub(crate) struct ParquetRows {
    batches: Batches,
    kinds: Vec<Kind>,
    /// The columns of the current batch, in the order of `kinds`.
    columns: Vec<ArrayRef>,
    at: usize,
    rows: usize,
    rows_before: u64,
}

/// What a column is read as.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Kind {
    Number,
    Integer,
    Text,
    Bool,
    Instant,
    Civil,
}

impl Kind {
    fn of(kind: &DataType) -> Option<Self> {
        Some(match kind {
            DataType::Int8
            | DataType::Int16
            | DataType::Int32
            | DataType::Int64
            | DataType::UInt8
            | DataType::UInt16
            | DataType::UInt32 => Kind::Integer,
            DataType::UInt64
            | DataType::Float16
            | DataType::Float32
            | DataType::Float64
            | DataType::Decimal32(..)
            | DataType::Decimal64(..)
            | DataType::Decimal128(..)
            | DataType::Decimal256(..) => Kind::Number,
            DataType::Utf8 | DataType::LargeUtf8 | DataType::Utf8View => Kind::Text,
            DataType::Boolean => Kind::Bool,
            DataType::Timestamp(_, Some(_)) => Kind::Instant,
            DataType::Timestamp(_, None) | DataType::Date32 | DataType::Date64 => Kind::Civil,
            DataType::Dictionary(_, value) => return Kind::of(value),
            _ => return None,
        })
    }

    fn target(self, from: &DataType) -> DataType {
        match self {
            Kind::Number => DataType::Float64,
            Kind::Integer => DataType::Int64,
            Kind::Text => DataType::Utf8,
            Kind::Bool => DataType::Boolean,
            Kind::Civil => DataType::Timestamp(TimeUnit::Millisecond, None),
            Kind::Instant => {
                let zone = match from {
                    DataType::Timestamp(_, zone) => zone.clone(),
                    _ => Some(Arc::from("UTC")),
                };
                DataType::Timestamp(TimeUnit::Millisecond, zone)
            }
        }
    }
}

/// A file whose columns are known and not yet chosen.
pub(crate) struct ParquetFile<R: ChunkReader + 'static>(ParquetRecordBatchReaderBuilder<R>);

impl<R: ChunkReader + Send + 'static> ParquetFile<R> {
    pub(crate) fn open(file: R) -> Result<Self, String> {
        ParquetRecordBatchReaderBuilder::try_new(file).map(Self).map_err(|error| error.to_string())
    }

    pub(crate) fn names(&self) -> Vec<String> {
        self.0.schema().fields().iter().map(|field| field.name().clone()).collect()
    }

    /// What a column is read as; an error names a type that cannot be used.
    pub(crate) fn kind(&self, column: usize) -> Result<Kind, String> {
        let kind = self.0.schema().field(column).data_type();
        Kind::of(kind).ok_or_else(|| kind.to_string())
    }

    /// Rows with these columns, each of which must have a kind.
    pub(crate) fn rows(self, columns: &[usize]) -> Result<ParquetRows, String> {
        let kinds: Vec<Kind> = columns.iter().map(|column| self.kind(*column)).collect::<Result<_, _>>()?;
        let mask = ProjectionMask::roots(self.0.parquet_schema(), columns.iter().copied());
        let builder = self.0.with_projection(mask).with_batch_size(ROWS);
        let batches = guarded(|| builder.build().map_err(|error| error.to_string()))?;
        // A projected batch keeps the file's order of columns.
        let mut order: Vec<usize> = columns.to_vec();
        order.sort_unstable();
        order.dedup();
        let places: Vec<usize> =
            columns.iter().map(|column| order.partition_point(|other| other < column)).collect();
        let batches = batches.map(move |batch| batch.and_then(|batch| batch.project(&places)));
        Ok(ParquetRows {
            batches: Box::new(batches),
            kinds,
            columns: Vec::new(),
            at: 0,
            rows: 0,
            rows_before: 0,
        })
    }
}

/// The Parquet library panics on some damaged files; here that is an error like any other, and the file is not
/// touched again.
fn guarded<T>(read: impl FnOnce() -> Result<T, String>) -> Result<T, String> {
    let read = std::panic::AssertUnwindSafe(read);
    std::panic::catch_unwind(read).unwrap_or_else(|panic| {
        let why =
            panic.downcast_ref::<String>().map(String::as_str).or(panic.downcast_ref::<&str>().copied());
        Err(format!("the file is damaged ({})", why.unwrap_or("no reason is known")))
    })
}

impl ParquetRows {
    /// Goes to the next row; false at the end.
    pub(crate) fn next(&mut self) -> Result<bool, String> {
        self.at += 1;
        while self.at >= self.rows {
            self.rows_before += self.rows as u64;
            self.rows = 0;
            let batches = &mut self.batches;
            let next = guarded(|| batches.next().transpose().map_err(|error| error.to_string()))?;
            let Some(batch) = next else { return Ok(false) };
            self.columns = self
                .kinds
                .iter()
                .zip(batch.columns())
                .map(|(kind, column)| cast(column, &kind.target(column.data_type())))
                .collect::<Result<_, _>>()
                .map_err(|error| error.to_string())?;
            (self.at, self.rows) = (0, batch.num_rows());
        }
        Ok(true)
    }

    pub(crate) fn cell(&self, column: usize) -> Cell<'_> {
        let (array, row) = (&self.columns[column], self.at);
        if array.is_null(row) {
            return Cell::Missing;
        }
        match self.kinds[column] {
            Kind::Number => Cell::Number(array.as_primitive::<Float64Type>().value(row)),
            Kind::Integer => Cell::Integer(array.as_primitive::<Int64Type>().value(row)),
            Kind::Text => Cell::Text(array.as_string::<i32>().value(row).trim()),
            Kind::Bool => Cell::Text(if array.as_boolean().value(row) { "true" } else { "false" }),
            Kind::Instant => Cell::Instant(array.as_primitive::<TimestampMillisecondType>().value(row)),
            Kind::Civil => Cell::Civil(array.as_primitive::<TimestampMillisecondType>().value(row)),
        }
    }

    pub(crate) fn place(&self) -> Place {
        Place::Row(self.rows_before + self.at as u64 + 1)
    }
}
