//! Cases, what people did about them, the registry of units and loads, and the feed.
//!
//! A detector says how a condition stands ([`Signal`](rimeline_detector::Signal)); [`apply`] makes a [`Case`] of it,
//! with a life of its own. A [`Casebook`] keeps cases, people's entries, the registry and detector state, and moves
//! only in whole steps ([`Casebook::commit`]): all that a stretch of the journal led to is written together with the
//! journal position, so a stretch that is read twice after a crash changes nothing the second time.
//!
//! - What a person wrote down is on disk before the call returns, and is never changed.
//! - The same readings give the same cases with the same ids.
//! - Each change that people can see has its own place in the feed; places grow by one and are never used twice.

mod action;
mod case;
mod case_id;
mod casebook;
mod confidence;
mod feed;
mod lifecycle;
mod rank;
mod routing;
mod sqlite;
mod step;
pub mod texts;
mod unit;
mod validate;
mod vocabulary;
mod weekly;

pub use action::{Action, Service};
pub use case::Case;
pub use case_id::case_id;
pub use casebook::{Casebook, CasebookError, Recorded};
pub use confidence::{MAX_CONFIDENCE, confidence_words};
pub use feed::{CaseChange, CaseFile, CaseFilter, Changes, Cursor, Snapshot};
pub use lifecycle::{Applied, CaseContext, MAX_SERIES_POINTS, SAME_CASE_MS, apply, place};
pub use rank::{compare, hours_left, rank};
pub use sqlite::{Options, SqliteCasebook};
pub use step::{Committed, RegistryChange, Seen, Step, UnitSignal};
pub use unit::{LastValue, Load, UnitDescription, UnitRecord, UnitSummary};
pub use validate::{FieldError, MAX_CADENCE_S, MAX_LABEL, validate_description, validate_load};
pub use vocabulary::{ActionKind, Body, CargoClass, CaseStage, Desk, Priority};
pub use weekly::{NotJudged, Week, WeekUnit, WeeklyItem, WeeklyList};
