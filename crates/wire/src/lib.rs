//! The public contract in Rust, and the mapping between it and the domain types.
//!
//! Generated types stop here: services decode a message, and everything after that works on
//! `rimeline_channels::Batch` and its kin. [`record`] is what the journal holds.

pub mod batch;
#[cfg(feature = "cases")]
pub mod cases;
pub mod record;

/// Generated from `proto/rimeline/v1`.
#[allow(missing_docs, clippy::all, clippy::pedantic, unreachable_pub)]
pub mod pb {
    tonic::include_proto!("rimeline.v1");

    /// The compiled contract, for server reflection.
    pub const DESCRIPTORS: &[u8] = include_bytes!(concat!(env!("OUT_DIR"), "/descriptors.bin"));
}

/// Encodes a message of the contract.
pub fn encode(message: &impl prost::Message) -> prost::bytes::Bytes {
    message.encode_to_vec().into()
}
