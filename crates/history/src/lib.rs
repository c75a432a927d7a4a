//! Questions answered from the archive with polars: one unit's readings, summaries for the eye, and daily figures for
//! the weekly list.
//!
//! Only files that the manifest names and whose day, bucket, units and times match are opened, and of these only the
//! row groups and columns that matter. A [`History`] beside the writing process also shows the rows that no file holds
//! yet; both come from one moment, so no row is missing and none counts twice. Of rows of one unit and time, the one
//! that was archived first counts, as in the archive itself.

mod daily;
mod error;
mod readings;
mod scan;
mod series;

use std::sync::Arc;

use rimeline_archive::{Archive, Store};

pub use daily::UnitDay;
pub use error::HistoryError;
pub use readings::{Readings, ReadingsColumn};
pub use series::Series;

/// Answers from an archive.
#[derive(Clone, Debug)]
pub struct History {
    store: Arc<dyn Store>,
    archive: Option<Arc<Archive>>,
}

impl History {
    /// From files alone, written by any process. What is not flushed yet is not seen.
    pub fn of_files(store: Arc<dyn Store>) -> Self {
        Self { store, archive: None }
    }

    /// From the files of an archive that this process writes to, and from what is not flushed yet.
    pub fn of_archive(archive: Arc<Archive>) -> Self {
        Self { store: archive.store().clone(), archive: Some(archive) }
    }
}
