//! Parquet files go the same way as CSV.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod common;

use std::sync::Arc;

use arrow::{
    array::{
        ArrayRef, BooleanArray, Date32Array, Decimal128Array, DictionaryArray, Float32Array, Float64Array,
        Int16Array, Int64Array, LargeStringArray, RecordBatch, StringArray, TimestampMicrosecondArray,
        TimestampNanosecondArray,
    },
    datatypes::{DataType, Int32Type},
};
use bytes::Bytes;
use common::{NOT_REPORTED, SMALL, import, import_source, mapping, small, supply};
use parquet::{
    arrow::ArrowWriter,
    basic::{BrotliLevel, Compression, GzipLevel, ZstdLevel},
    file::properties::WriterProperties,
};
use rimeline_channels::{Channel, Compressor, Stage, Value};
use rimeline_mapping::{ProblemKind, Source};

fn file(columns: Vec<(&str, ArrayRef)>, compression: Compression) -> Bytes {
    let batch =
        RecordBatch::try_from_iter_with_nullable(columns.into_iter().map(|(name, c)| (name, c, true)))
            .unwrap();
    let properties = WriterProperties::builder().set_compression(compression).build();
    let mut writer = ArrowWriter::try_new(Vec::new(), batch.schema(), Some(properties)).unwrap();
    writer.write(&batch).unwrap();
    writer.into_inner().unwrap().into()
}

fn plain(columns: Vec<(&str, ArrayRef)>) -> Source {
    Source::parquet("a.parquet", file(columns, Compression::UNCOMPRESSED))
}

fn times() -> ArrayRef {
    Arc::new(Int64Array::from(vec![1, 2, 3]))
}

#[test]
fn every_kind_of_number_and_text_gives_the_same_values() {
    let decimal =
        Decimal128Array::from(vec![Some(25), None, Some(-35)]).with_precision_and_scale(10, 1).unwrap();
    let dictionary: DictionaryArray<Int32Type> = vec![Some("2.5"), None, Some("-3.5")].into_iter().collect();
    let columns: Vec<ArrayRef> = vec![
        Arc::new(Float64Array::from(vec![Some(2.5), None, Some(-3.5)])),
        Arc::new(Float32Array::from(vec![Some(2.5), Some(f32::NAN), Some(-3.5)])),
        Arc::new(decimal),
        Arc::new(StringArray::from(vec![Some("2.5"), Some("NaN"), Some(" -3.5 ")])),
        Arc::new(LargeStringArray::from(vec![Some("2.5"), Some(""), Some("-3.5")])),
        Arc::new(dictionary),
    ];
    for column in columns {
        let kind = column.data_type().clone();
        let (rows, problems) =
            import_source(&small("absent = ['NaN']"), plain(vec![("t", times()), ("x", column)]));
        assert_eq!(supply(&rows), [Value::Number(25), NOT_REPORTED, Value::Number(-35)], "{kind}");
        assert_eq!(problems, [], "{kind}");
    }
    let whole: ArrayRef = Arc::new(Int16Array::from(vec![Some(2), Some(-999), Some(-3)]));
    let (rows, problems) =
        import_source(&small("absent = ['-999']"), plain(vec![("t", times()), ("x", whole)]));
    assert_eq!(
        (supply(&rows), problems),
        (vec![Value::Number(20), NOT_REPORTED, Value::Number(-30)], vec![])
    );
}

#[test]
fn every_compression_of_other_writers_is_read() {
    for compression in [
        Compression::UNCOMPRESSED,
        Compression::SNAPPY,
        Compression::GZIP(GzipLevel::default()),
        Compression::BROTLI(BrotliLevel::default()),
        Compression::ZSTD(ZstdLevel::default()),
        Compression::LZ4_RAW,
    ] {
        let x: ArrayRef = Arc::new(Float64Array::from(vec![1.0, 2.0, 3.0]));
        let bytes = file(vec![("t", times()), ("x", x)], compression);
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("no-matter-what-name.csv");
        std::fs::write(&path, &bytes).unwrap();
        let (rows, problems) = import_source(&small(""), Source::path(path));
        assert_eq!((rows.len(), problems), (3, vec![]), "{compression:?}");
    }
}

#[test]
fn columns_are_matched_by_name_in_any_order_and_over_many_row_groups() {
    let count = 10_000;
    let x: ArrayRef = Arc::new(Float64Array::from_iter_values((0..count).map(|i| f64::from(i) * 0.1)));
    let t: ArrayRef = Arc::new(Int64Array::from_iter_values((0..count).map(i64::from)));
    let noise: ArrayRef = Arc::new(StringArray::from_iter_values((0..count).map(|i| i.to_string())));
    let (rows, problems) = import_source(&small(""), plain(vec![("x", x), ("noise", noise), ("t", t)]));
    assert_eq!((rows.len(), problems), (count as usize, vec![]));
    for (i, row) in rows.iter().enumerate() {
        assert_eq!(row.time, i as i64 * 1000);
        assert_eq!(row.get(Channel::SupplyAirControl), Value::Number(i as i32));
    }
}

#[test]
fn stored_times_with_and_without_a_zone_are_moments() {
    let zoned = SMALL.replace("format = 'unix_s'", "zone = 'America/New_York'");
    let x: ArrayRef = Arc::new(Float64Array::from(vec![1.0]));
    // 2013-07-01T12:00:00 of some clock, as the file stores it.
    let noon = 1_372_680_000_000_i64;
    let hours = |h: i64| noon + h * 3_600_000;
    let cases: Vec<(ArrayRef, i64)> = vec![
        (Arc::new(TimestampNanosecondArray::from(vec![noon * 1_000_000]).with_timezone("-07:00")), noon),
        (
            Arc::new(TimestampNanosecondArray::from(vec![noon * 1_000_000]).with_timezone("Europe/Lisbon")),
            noon,
        ),
        (Arc::new(TimestampMicrosecondArray::from(vec![noon * 1_000])), hours(4)),
        (Arc::new(Date32Array::from(vec![15_887])), hours(4 - 12)),
    ];
    for (t, expected) in cases {
        let kind = t.data_type().clone();
        let (rows, problems) = import_source(&mapping(&zoned), plain(vec![("t", t), ("x", x.clone())]));
        assert_eq!(problems, [], "{kind}");
        assert_eq!(rows[0].time, expected, "{kind}");
    }
}

#[test]
fn float_years_and_months_join_into_a_time() {
    let text = SMALL.replace(
        "column = 't'\nformat = 'unix_s'",
        "columns = ['y', 'm', 'd']\nformat = '%Y %m %d'\nzone = 'UTC'",
    );
    let (rows, problems) = import_source(
        &mapping(&text),
        plain(vec![
            ("y", Arc::new(Float64Array::from(vec![2013.0]))),
            ("m", Arc::new(Int64Array::from(vec![7]))),
            ("d", Arc::new(StringArray::from(vec!["01"]))),
            ("x", Arc::new(Float64Array::from(vec![1.0]))),
        ]),
    );
    assert_eq!((rows[0].time, problems), (1_372_636_800_000, vec![]));
}

#[test]
fn state_comes_from_stored_booleans_numbers_and_words() {
    let text = format!(
        "{SMALL}[state]\ncompressor = {{ column = 'on', values = {{ 'true' = 'running', 'false' = 'stopped' }} }}\n\
         stage = {{ column = 'stg', values = {{ '0' = 'satisfied', '1' = 'cooling_low' }} }}\n"
    );
    let (rows, problems) = import_source(
        &mapping(&text),
        plain(vec![
            ("t", times()),
            ("x", Arc::new(Float64Array::from(vec![1.0; 3]))),
            ("on", Arc::new(BooleanArray::from(vec![Some(true), Some(false), None]))),
            ("stg", Arc::new(Float32Array::from(vec![Some(1.0), Some(0.0), None]))),
        ]),
    );
    assert_eq!(problems, []);
    let states: Vec<_> = rows.iter().map(|row| (row.state.compressor, row.state.stage)).collect();
    let expected = [
        (Compressor::Running, Stage::CoolingLow),
        (Compressor::Stopped, Stage::Satisfied),
        (Compressor::Unknown, Stage::Unknown),
    ];
    assert_eq!(states, expected);
}

#[test]
fn problems_name_the_row_and_the_column() {
    let x: ArrayRef = Arc::new(StringArray::from(vec!["1", "warm", "3"]));
    let (rows, problems) = import_source(&small(""), plain(vec![("t", times()), ("x", x)]));
    assert_eq!(rows.len(), 3);
    assert_eq!(problems[0].0, ProblemKind::BadNumber);
    assert!(problems[0].1.starts_with("a.parquet row 2: column `x`: "), "{}", problems[0].1);
    let (rows, problems) = import_source(&small(""), plain(vec![("t", times()), ("y", times())]));
    assert_eq!((rows.len(), problems[0].0), (0, ProblemKind::MissingColumn));
    assert!(problems[0].1.contains("`t`, `y`"), "{}", problems[0].1);
}

#[test]
fn columns_of_a_kind_that_cannot_be_used_are_named_with_what_to_do() {
    let nanos: ArrayRef = Arc::new(TimestampNanosecondArray::from(vec![1, 2, 3]));
    let list: ArrayRef = arrow::array::new_null_array(
        &DataType::List(Arc::new(arrow::datatypes::Field::new("item", DataType::Int32, true))),
        3,
    );
    let x: ArrayRef = Arc::new(Float64Array::from(vec![1.0; 3]));
    let without_format = SMALL.replace("format = 'unix_s'", "");
    for (text, t, x, parts) in [
        (SMALL, times(), list, ["column `x` is List", "number, text or timestamp"]),
        (SMALL, times(), nanos.clone(), ["column `x` is a date or time", "only [time]"]),
        (SMALL, nanos, x.clone(), ["column `t` is a time without a zone", "add `zone`"]),
        (&without_format, times(), x, ["column `t` holds times", "Add `format`"]),
    ] {
        let (rows, problems) = import_source(&mapping(text), plain(vec![("t", t), ("x", x)]));
        assert_eq!((rows.len(), problems.len()), (0, 1));
        assert_eq!(problems[0].0, ProblemKind::UnsupportedType);
        assert!(parts.iter().all(|part| problems[0].1.contains(part)), "{}", problems[0].1);
    }
    let (_, problems) = import(&mapping(&without_format), "t,x\n1,2\n");
    assert!(problems[0].1.contains("Add `format`"), "{problems:?}");
}

#[test]
fn a_torn_file_is_named_and_an_empty_one_too() {
    let whole = file(vec![("t", times()), ("x", times())], Compression::SNAPPY);
    let torn = whole.slice(..whole.len() - 10);
    let (rows, problems) = import_source(&small(""), Source::parquet("torn.parquet", torn));
    assert_eq!((rows.len(), problems[0].0), (0, ProblemKind::Unreadable));
    assert!(problems[0].1.contains("torn.parquet"), "{}", problems[0].1);
    let none: ArrayRef = Arc::new(Int64Array::from(Vec::<i64>::new()));
    let (rows, problems) = import_source(&small(""), plain(vec![("t", none.clone()), ("x", none)]));
    assert_eq!((rows.len(), problems[0].0), (0, ProblemKind::EmptyFile));
}
