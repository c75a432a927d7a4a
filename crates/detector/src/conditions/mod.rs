//! One module per condition, each over the shared regime and clean values.

pub(crate) mod missing;
pub(crate) mod out_of_range;
