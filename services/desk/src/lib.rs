//! The desk role: the dispatcher's feed of cases with a cursor that survives a reconnect and a restart, what people
//! do about cases, and the registry of units and loads.

mod config;
mod feed;
mod registry;

use std::sync::Arc;

use rimeline_casebook::Casebook;
use rimeline_clock::Clock;
use rimeline_journal::Journal;
use tokio::sync::watch;
use tokio_util::sync::CancellationToken;

pub use config::DeskConfig;
pub use feed::FeedGrpc;
pub use registry::RegistryGrpc;

/// What the desk role works with.
#[derive(Clone)]
pub struct Parts {
    /// Cases, units and loads.
    pub casebook: Arc<dyn Casebook>,
    /// Where descriptions and loads take their place in the order of events.
    pub journal: Arc<dyn Journal>,
    /// Where "now" comes from.
    pub clock: Arc<dyn Clock>,
    /// Touched by whoever changes a case. Followers also look by themselves, so a change made by another process is
    /// heard as well, a little later.
    pub changed: watch::Sender<()>,
    /// Ends every follower's stream.
    pub shutdown: CancellationToken,
}
