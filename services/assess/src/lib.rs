//! The assessing role: journal in, cases out.
//!
//! Readings are shown to each unit's detector in the order of the journal. What the detectors say, their state and
//! the journal position are written to the casebook in one step, so that after a crash the journal is read again
//! from the last step and nothing is decided twice.

mod assessor;
mod config;
mod error;
mod order;
mod run;
mod unit;

use std::sync::Arc;

use rimeline_casebook::Casebook;
use rimeline_clock::Clock;
use rimeline_journal::Journal;
use tokio::sync::watch;
use tokio_util::sync::CancellationToken;

pub use assessor::Assessor;
pub use config::AssessConfig;
pub use error::AssessError;
pub use run::run;

/// The name under which the casebook keeps this role's position.
pub const ROLE: &str = "assess";

/// What the assessing role works with.
#[derive(Clone)]
pub struct Parts {
    /// Where readings come from.
    pub journal: Arc<dyn Journal>,
    /// Where cases and detector state go.
    pub casebook: Arc<dyn Casebook>,
    /// Where "now" comes from when nothing arrives.
    pub clock: Arc<dyn Clock>,
    /// Touched when a case changed.
    pub changed: watch::Sender<()>,
    /// Ends the role after the step at hand.
    pub shutdown: CancellationToken,
}
