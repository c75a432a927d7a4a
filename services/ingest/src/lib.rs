//! The ingest role: every item gets a verdict, and what is acknowledged is on disk.
//!
//! A batch is checked once at the edge, what was accepted is appended to the journal, and only when the journal says
//! it is durable does the gateway hear of it. A batch is known by (gateway, epoch, sequence) for ever: sending it
//! again is answered as a duplicate, also after a restart, because what was received is rebuilt from the journal.

mod config;
mod error;
mod grpc;
mod housekeeping;
mod producers;
mod receiver;

pub use config::IngestConfig;
pub use error::IngestError;
pub use grpc::IngestGrpc;
pub use housekeeping::keep_journal_short;
pub use receiver::{Parts, Receiver, Sender};
