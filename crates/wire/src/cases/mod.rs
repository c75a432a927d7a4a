//! Cases, units, loads and weekly lists, between the contract and the casebook.
//!
//! What comes in is checked part by part and answered with the field that is wrong; what goes out cannot fail.

mod ask;
mod case;
mod filter;
mod registry;
mod unit;
mod weekly;

pub use ask::{ask, refused, status};
pub use case::{action, action_out, case, change, cursor, cursor_out, evidence};
pub use filter::filter;
pub use registry::{channel_infos, description, description_out, load, load_out};
pub use unit::{judgement, last_value, mark, state, unit_summary};
pub use weekly::weekly_list;
