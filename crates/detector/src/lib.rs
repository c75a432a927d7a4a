//! Readings in, findings out.
//!
//! The crate is pure: it does no I/O, reads no clock and keeps a bounded, serialisable state per unit. Feed each
//! unit's readings in time order to [`UnitState::observe`]; call [`UnitState::tick`] when time passes without
//! readings. Both append [`Signal`]s (a condition stands, or no longer stands) and [`Mark`]s (a single odd value that
//! was set aside). What becomes of a signal, a case with a life of its own, is the casebook's business.

mod condition;
mod finding;
mod setup;
pub mod stats;

pub use condition::Condition;
pub use finding::{Evidence, Judgement, Limit, Mark, Output, Series, Signal, Standing, Verdict};
pub use setup::{UnitSetup, Within};
