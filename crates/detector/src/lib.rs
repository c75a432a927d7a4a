//! Readings in, findings out.
//!
//! The crate is pure: it does no I/O, reads no clock and keeps a bounded, serialisable state per unit. Feed each
//! unit's readings in time order to [`UnitState::observe`]; call [`UnitState::tick`] when time passes without
//! readings. Both append [`Signal`]s (a condition stands, or no longer stands) and [`Mark`]s (a single odd value that
//! was set aside). What becomes of a signal, a case with a life of its own, is the casebook's business.

mod able;
mod chart;
mod condition;
mod conditions;
mod config;
mod daily;
mod evidence;
mod finding;
mod fleet;
mod minute;
mod normal;
mod observed;
mod physics;
mod reduce;
mod regime;
mod say;
mod sensors;
mod setup;
mod stand;
pub mod stats;
mod trend_test;
mod unit;

pub use condition::Condition;
pub use config::{
    Baseline, Chart, Config, ConfigError, Cooling, Cycling, Discharge, Masks, Noise, Offset, OutOfRange,
    Peers, PullDown, Silence, Spikes, Steady, Stuck, Twins,
};
pub use finding::{Evidence, Judgement, Limit, Mark, Output, Series, Signal, Standing, Verdict};
pub use fleet::Fleet;
pub use setup::{UnitSetup, Within};
pub use unit::{Outcome, StateError, UnitState};
