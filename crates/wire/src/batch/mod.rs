//! A batch of readings, from the contract's compact form to columns and back.
//!
//! [`check`] is the edge: everything a gateway may get wrong is found here, named with its field, and only that
//! much is refused. [`read_stored`] reads what the edge let through, [`write`] makes the compact form.

mod check;
mod refusals;
mod write;

pub use check::{Bounds, Checked, check, read_stored};
pub use write::write;
#[cfg(feature = "cases")]
pub(crate) use write::write_state;
