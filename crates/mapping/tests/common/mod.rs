//! What the tests of this crate share.
#![allow(dead_code, clippy::unwrap_used, clippy::expect_used)]

use std::{
    path::{Path, PathBuf},
    sync::Arc,
};

use arrow::array::{ArrayRef, Float64Array, Int64Array, RecordBatch};
use parquet::arrow::ArrowWriter;
use rimeline_channels::{Absence, Channel, Id, Reading, Value};
use rimeline_mapping::{Import, Mapping, ProblemKind, Source};

/// The repository's root.
pub(crate) fn repository() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..")
}

/// A mapping that comes with the project.
pub(crate) fn ready(name: &str) -> Mapping {
    Mapping::read(&repository().join("tests/mappings").join(name)).unwrap_or_else(|error| panic!("{error}"))
}

/// A mapping from text.
pub(crate) fn mapping(text: &str) -> Mapping {
    Mapping::parse("test.toml", text).unwrap_or_else(|error| panic!("{error}"))
}

/// The message with which a mapping is refused.
pub(crate) fn refusal(text: &str) -> String {
    match Mapping::parse("test.toml", text) {
        Ok(_) => panic!("the mapping was taken:\n{text}"),
        Err(error) => error.to_string(),
    }
}

/// A data file of others: in the folder that `variable` names, or in `usual`. Says why where there is none.
#[allow(clippy::print_stderr)]
pub(crate) fn measured(variable: &str, usual: Option<PathBuf>, file: &str) -> Option<PathBuf> {
    let folder = std::env::var_os(variable).map(PathBuf::from).or(usual);
    let path = folder.map(|folder| folder.join(file)).filter(|path| path.exists());
    if path.is_none() {
        eprintln!("skipped: {file} is not there; set {variable} to its folder");
    }
    path
}

/// Every reading, row by row, with its unit.
pub(crate) fn rows(import: &mut Import<'_>) -> Vec<(Id, Reading)> {
    let mut rows = Vec::new();
    for batch in import {
        assert_eq!(batch.check(), Ok(()));
        for row in 0..batch.rows() {
            let mut reading = Reading::default();
            batch.read_row(row, &mut reading);
            rows.push((batch.unit(row).clone(), reading));
        }
    }
    rows
}

/// CSV text through a mapping: the readings, and the problems as (kind, text).
pub(crate) fn import(
    mapping: &Mapping,
    text: impl Into<Vec<u8>>,
) -> (Vec<Reading>, Vec<(ProblemKind, String)>) {
    import_source(mapping, Source::csv("a.csv", std::io::Cursor::new(text.into())))
}

/// A source through a mapping: the readings, and the problems as (kind, text).
pub(crate) fn import_source(mapping: &Mapping, source: Source) -> (Vec<Reading>, Vec<(ProblemKind, String)>) {
    let mut import = mapping.import(vec![source]);
    let rows = rows(&mut import).into_iter().map(|(_, reading)| reading).collect();
    let problems =
        import.problems().kept().iter().map(|problem| (problem.kind, problem.to_string())).collect();
    (rows, problems)
}

/// A Parquet file with columns `t` and `x`.
pub(crate) fn parquet_file(rows: i64) -> Vec<u8> {
    let t: ArrayRef = Arc::new(Int64Array::from_iter_values(0..rows));
    let x: ArrayRef = Arc::new(Float64Array::from_iter_values((0..rows).map(|i| (i % 60) as f64)));
    let batch = RecordBatch::try_from_iter([("t", t), ("x", x)]).unwrap();
    let mut writer = ArrowWriter::try_new(Vec::new(), batch.schema(), None).unwrap();
    writer.write(&batch).unwrap();
    writer.into_inner().unwrap()
}

/// A value that is not reported.
pub(crate) const NOT_REPORTED: Value = Value::Absent(Absence::NotReported);

/// The supply air of each row.
pub(crate) fn supply(rows: &[Reading]) -> Vec<Value> {
    rows.iter().map(|reading| reading.get(Channel::SupplyAirControl)).collect()
}

/// A small mapping onto supply air, with `more` after it.
pub(crate) fn small(more: &str) -> Mapping {
    mapping(&format!("{SMALL}{more}"))
}

/// See [`small`]. Times are whole seconds since 1970.
pub(crate) const SMALL: &str = "
[unit]
id = 'U1'
[time]
column = 't'
format = 'unix_s'
[[channels]]
channel = 'supply_air_control'
column = 'x'
unit = 'Cel'
";
