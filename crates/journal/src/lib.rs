//! The one order of events: append with group commit, read from a position, trim.
//!
//! Nothing is acknowledged that is not on disk. [`Journal`] is what the services know; [`LocalJournal`] keeps it in
//! files. What stands in those files is told in `format.rs`, what becomes of them in `writer.rs`.
//!
//! ```
//! use rimeline_journal::{Journal, LocalJournal, Options, Position};
//!
//! # tokio::runtime::Builder::new_current_thread().build()?.block_on(async {
//! # let dir = tempfile::tempdir()?;
//! let journal = LocalJournal::open(dir.path(), Options::default())?;
//! journal.append("a reading".into()).await?;
//!
//! let mut position = Position::START;
//! for entry in journal.read(position, 1 << 20)? {
//!     assert_eq!(entry.record, "a reading");
//!     position = entry.next;
//! }
//! journal.trim(position)?;
//! journal.close().await?;
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! # })?;
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod checkpoint;
mod contract;
pub mod disk;
mod error;
mod format;
mod layout;
mod local;
mod options;
mod position;
mod queue;
mod read;
mod recover;
mod repair;
mod segment;
mod shared;
mod survey;
mod sweep;
mod trim;
mod window;
mod writer;

pub use contract::{BoxFuture, Journal};
pub use error::JournalError;
pub use local::LocalJournal;
pub use options::Options;
pub use position::{Entry, Position};
pub use repair::{Damage, Report, inspect, inspect_on, repair, repair_on};
