//! Readings in, findings out.
//!
//! The crate is pure: it does no I/O, reads no clock and keeps a bounded, serialisable state per unit. Feed each
//! unit's readings in time order to [`UnitState::observe`]; call [`UnitState::tick`] when time passes without
//! readings. Both append [`Signal`]s (a condition stands, or no longer stands) and [`Mark`]s (a single odd value that
//! was set aside). What becomes of a signal, a case with a life of its own, is the casebook's business.
//!
//! A reading passes through these layers, in this order:
//!
//! 1. `regime`: what the unit does, since when, and why its readings may have to be set aside (masks, each with a
//!    longest time).
//! 2. `conditions::out_of_range`, `conditions::spiking`: values that cannot be used are taken out.
//! 3. `observed`: clean values of believed sensors; a sensor with a finding against it is not believed, and a test that
//!    needs it abstains.
//! 4. `daily`: qualified samples become one value per run, runs one value per day and mode class.
//! 5. `normal`: the unit's own normal, learned once per mode class and then frozen; [`Fleet`] takes off what similar
//!    units show on the same day.
//! 6. `chart`: a guarded one-sided cumulative sum with a practical minimum and hysteresis; `stand` says only news.
//!
//! No chart runs on raw minutes, and what is compared with a unit's own past waits until its baseline is complete.

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
