//! Parquet written atomically, and the manifest that names it.
//!
//! # Files
//!
//! ```text
//! readings/day=2026-01-31/bucket=03/000000000120-000000000987.parquet   one row per unit and time
//! events/day=2026-01-31/bucket=03/000000000120-000000000987.parquet     alarms, set points, changes of state
//! manifest/000000000064.summary.jsonl                                   every file, and the journal position
//! manifest/000000000065.record.jsonl                                    what one flush or merge changed
//! writer.lock, tmp/                                                     of the one process that writes
//! ```
//!
//! A partition is the UTC day of the reading and a bucket of units ([`bucket_of`]). A file's name is a function of its
//! partition and the journal positions it came from, so writing the same rows again writes the same file.
//!
//! Readings are wide: `unit`, `time`, `received` (UTC milliseconds), `late`, the state as words (`power`, `drive`,
//! `running_mode`, `stage`, `door`, `compressor`, `defrost_origin`, `defrost_end`; null where not known), `inputs`
//! and `outputs` as bits, one decimal column for each channel that the file's rows mention, and `status`. A channel is
//! null where it has no number. `status` is null where every such cell was just not reported; otherwise it gives the
//! other reasons as `channel:word` separated by spaces, with the words of [`Absence`](rimeline_channels::Absence).
//! Channels are `DECIMAL(10)` in 64 bits with the decimals of the catalogue, so any reader of Parquet shows quantities
//! in the unit of measure that the field's metadata gives by its UCUM code. Files may differ in their channels: read them
//! by name (`union_by_name` in SQL engines). Rows are sorted by unit and time.
//!
//! The key-value metadata of a file holds the contract ([`CONTRACT`]), the writer's version, the format, the journal
//! positions, and the channels with unit of measure and decimals as JSON.
//!
//! # Life of a file
//!
//! 1. Rows gather in memory ([`Archive::add`]). The journal still holds them.
//! 2. [`Archive::flush`] writes one file a partition: to `tmp/`, synced, renamed, directory synced.
//! 3. One manifest record names the new files and moves the journal position. From here on the rows count.
//! 4. [`Archive::merge`] and [`Archive::compact`] write one file in the place of several; one record swaps them, then
//!    the old ones are removed. Whoever has an old one open can read on. A program that lists the directory between
//!    the rename and the removal, some milliseconds, sees those rows twice; one that reads the manifest never does.
//! 5. [`Archive::remove_before`] forgets whole days.
//!
//! # Crashes
//!
//! | when | what is found | what happens |
//! |---|---|---|
//! | before a file is renamed | a file in `tmp/` | removed when the next writer claims the store |
//! | after some or all files of a flush, before the record | data files that no record names | removed at open; their rows come again from the journal, from the old position |
//! | after the record | files and position agree | nothing to do |
//! | after the record of a merge, before old files are removed | old files that no record names | removed at open |
//! | while a summary is written | records and perhaps a summary more | both are read; leftovers go with the next summary |
//! | the manifest is gone, damaged or an old copy | an error that says so | nothing is removed |
//! | a named file is gone or cut | [`Opened::lost`] | reported; nothing is removed until it is back |
//!
//! Only one process writes: [`Store::claim`] fences a second one off, and a manifest record is never written over.

mod archive;
mod arrange;
mod contents;
mod decode;
mod encode;
mod error;
mod flush;
mod manifest;
mod merge;
mod opening;
mod options;
mod partition;
mod rows;
mod schema;
mod store;
mod verify;
mod words;

pub use archive::{Added, Archive, Opened, RowMeta, View};
pub use contents::{Contents, StoredEvent, StoredReading};
pub use error::ArchiveError;
pub use flush::Flushed;
pub use manifest::{DataFile, FORMAT, RECORDS_PER_SUMMARY, Snapshot};
pub use merge::{Merged, Removed};
pub use options::Options;
pub use partition::{Dataset, Day, Partition, bucket_of};
pub use schema::CONTRACT;
pub use store::{Claim, Listed, LocalStore, Store, StoreError};
pub use verify::{Problem, Verified, verify};
