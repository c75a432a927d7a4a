//! One module per condition, each over the shared regime and clean values.

pub(crate) mod cycling;
pub(crate) mod discharge;
pub(crate) mod missing;
pub(crate) mod noisy;
pub(crate) mod out_of_range;
pub(crate) mod pressure_offset;
pub(crate) mod pull_down;
pub(crate) mod silence;
pub(crate) mod spiking;
pub(crate) mod stuck;
pub(crate) mod twins;
pub(crate) mod weak_cooling;
