//! The vocabulary of rimeline: which channels a refrigerated unit has, what a missing value means, what state a unit
//! is in, and readings as rows and as columns.
//!
//! Values are integers in a fixed-point scale that the catalogue gives per channel ([`Channel::decimals`]); they are
//! converted where people or other programs look. This crate knows no protobuf, no file and no network.

mod batch;
mod catalogue;
mod event;
mod id;
mod reading;
mod state;
mod status;
mod ucum;

pub use batch::{Batch, Column, ShapeError};
pub use catalogue::{Channel, ChannelGroup, ChannelSpec, UnknownChannel};
pub use event::{Alarm, Event, EventKind};
pub use id::{BadId, Id};
pub use reading::Reading;
pub use state::{
    Compressor, DefrostEnd, DefrostOrigin, Door, Drive, Power, RunningMode, Stage, State, UnknownState,
};
pub use status::{Absence, Value};
pub use ucum::{Measure, UnknownMeasure};

/// Milliseconds since 1970-01-01T00:00:00Z.
pub type UnixMs = i64;

/// Milliseconds in a minute.
pub const MINUTE_MS: i64 = 60_000;
/// Milliseconds in an hour.
pub const HOUR_MS: i64 = 3_600_000;
/// Milliseconds in a day.
pub const DAY_MS: i64 = 86_400_000;
