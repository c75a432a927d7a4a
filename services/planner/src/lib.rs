//! The planner role: the weekly health list, and one unit with what it reported.

mod unit;
mod weekly;

use std::sync::Arc;

use rimeline_archive::Archive;
use rimeline_casebook::Casebook;
use rimeline_clock::Clock;

pub use unit::UnitGrpc;
pub use weekly::WeeklyGrpc;

/// What the planner role works with.
#[derive(Clone)]
pub struct Parts {
    /// Cases, units and loads.
    pub casebook: Arc<dyn Casebook>,
    /// Readings, in files and on their way to files.
    pub archive: Arc<Archive>,
    /// Where "now" comes from.
    pub clock: Arc<dyn Clock>,
}
