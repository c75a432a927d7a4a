//! The way to the server: one session after the other until everything is acknowledged.

mod ledger;
mod sender;
mod session;
pub(crate) mod wire;

use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use rimeline_clock::Clock;
use tokio::sync::{Notify, watch};
use tonic::transport::Channel;

use crate::Config;
use crate::keep::Keep;
use crate::progress::{Observer, Progress};

pub(crate) use ledger::Ledger;
pub(crate) use sender::run;

/// What the gateway's handle and its sender share.
pub(crate) struct Shared {
    pub config: Config,
    pub epoch: u64,
    pub channel: Channel,
    pub clock: Arc<dyn Clock>,
    pub keep: Keep,
    /// Something to send has come, or nothing more will.
    pub wake: Notify,
    pub closing: AtomicBool,
    pub progress: watch::Sender<Progress>,
    pub observer: Observer,
}
