//! The client library for gateways: collect readings, keep them, send them, and let go only of what the server has on
//! its disk.
//!
//! ```no_run
//! use std::sync::Arc;
//! use rimeline_channels::{Channel, Id, Measure, State};
//! use rimeline_clock::{Clock, WallClock};
//! use rimeline_gateway::{Config, Gateway, Sample, reading};
//!
//! # async fn run() -> Result<(), Box<dyn std::error::Error>> {
//! let clock = Arc::new(WallClock::default());
//! let gateway = Gateway::connect(Config::new("http://127.0.0.1:7420", Id::new("yard-1")?), clock.clone()).await?;
//! let air = Sample::new(Channel::ReturnAirControl, 36.5, Measure::Fahrenheit)?;
//! gateway.push(&Id::new("TR-0042")?, &reading(clock.now_ms(), State::default(), [air])).await?;
//! let totals = gateway.finish().await?;
//! # Ok(()) }
//! ```
//!
//! Three layers: a [`Batcher`] collects; the *keep* (a spool on disk, or memory) numbers batches and holds them; the
//! *link* sends what the keep holds, several batches at a time, and begins again where the server left off.
//!
//! # What is promised
//!
//! * A batch is on the server exactly once, in order, whatever is cut in between: `(gateway, epoch, sequence)` names it.
//! * With a spool, a batch that [`Gateway::send`] took survives a crash and a power cut.
//! * Nothing goes in silence: what a full spool drops, what a server refuses, and where a server cannot be reached is
//!   logged, counted in [`Totals`] and told as a [`Notice`].

mod batcher;
mod collector;
mod config;
mod error;
mod gateway;
mod keep;
mod link;
mod once;
mod progress;
mod sample;
mod split;

pub use batcher::Batcher;
pub use config::{Backoff, BatchLimits, Compression, Config, SpoolConfig};
pub use error::GatewayError;
pub use gateway::Gateway;
pub use once::send_once;
pub use progress::{ClockOffset, Notice, Observer, Receipt, Refusal, RefusalReason, RefusedItem, Totals};
pub use sample::{Sample, WrongMeasure, reading};
