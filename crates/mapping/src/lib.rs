//! Anybody's readings get in: CSV and Parquet files of any layout become [`Batch`](rimeline_channels::Batch)es by a
//! small TOML mapping.
//!
//! ```
//! use rimeline_mapping::{Mapping, Source};
//!
//! let mapping = Mapping::parse("yard.toml", r#"
//!     [unit]
//!     column = "trailer"
//!     [time]
//!     column = "stamp"
//!     format = "%Y-%m-%d %H:%M"
//!     zone = "Europe/Lisbon"
//!     [[channels]]
//!     channel = "return_air_control"
//!     column = "T return"
//!     unit = "[degF]"
//! "#)?;
//! let file = "stamp,trailer,T return\n2024-07-01 12:00,TR-7,36.5\n2024-07-01 12:01,TR-7,warm\n";
//! let mut import = mapping.import(vec![Source::csv("yard.csv", file.as_bytes())]);
//! let batch = import.next_batch().unwrap_or_default();
//! assert_eq!((batch.rows(), batch.unit(0).as_str()), (2, "TR-7"));
//! assert_eq!(batch.times[0], 1_719_831_600_000);
//! // The value that is no number is not reported, counted, and shown with file, line and column.
//! assert!(import.problems().kept()[0].to_string().starts_with("yard.csv:3: column `T return`: "));
//! # Ok::<(), rimeline_mapping::MappingError>(())
//! ```
//!
//! # What a mapping can say
//!
//! Everything, with its default:
//!
//! ```toml
#![doc = include_str!("../../../tests/mappings/example.toml")]
//! ```
//!
//! # What is promised
//!
//! * A value is taken as it stands or not at all. What cannot be read is not reported, never guessed, and no row is
//!   invented where the file has none.
//! * Nothing is left out in silence: every value, row or file that did not go in is counted by kind
//!   ([`Problems`]), and the first ones are kept with file, line, column, what was found and what to do.
//! * One bad value costs that value, one bad row that row, one bad file that file.
//! * A local time that happened twice, or never, is taken with the offset that held before clocks were changed, and
//!   counted.
//! * Memory: the open files' buffers, one line (at most `max_line_bytes` and a buffer more) or 4,096 rows of Parquet
//!   each, the units' ids, and with `sort_by_time` at most `sort_rows` rows.

mod cell;
mod channel;
mod compile;
mod csv_rows;
mod description;
mod document;
mod error;
mod expression;
mod import;
mod mapping;
mod open_file;
mod parquet_rows;
mod problem;
mod row;
mod source;
mod state;
mod state_compile;
mod state_source;
mod text;
mod time;

pub use cell::Place;
pub use description::{Load, UnitDescription};
pub use error::{Fault, MappingError};
pub use import::{Counts, Import};
pub use mapping::Mapping;
pub use problem::{Effect, Problem, ProblemKind, Problems};
pub use source::Source;
