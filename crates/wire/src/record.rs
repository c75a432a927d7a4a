//! What the journal holds: one record per thing that happened, in the order in which it became durable.
//!
//! A record is a protobuf message of our own (tags below), so that a later version can add to it. Batches stay in the
//! form of the public contract, reduced to what was accepted: nothing is judged a second time on the way out.

use prost::Message;
use prost::bytes::Bytes;

use crate::pb;

/// One record of the journal.
#[derive(Clone, PartialEq, Message)]
pub struct Record {
    /// The server's clock when it came, Unix milliseconds.
    #[prost(int64, tag = "1")]
    pub received_ms: i64,
    /// What happened.
    #[prost(oneof = "Body", tags = "2, 3, 4, 5")]
    pub body: Option<Body>,
}

/// What happened.
#[derive(Clone, PartialEq, prost::Oneof)]
pub enum Body {
    /// Readings.
    #[prost(message, tag = "2")]
    Readings(Readings),
    /// A unit was described.
    #[prost(message, tag = "3")]
    Unit(pb::UnitDescription),
    /// A load was stated.
    #[prost(message, tag = "4")]
    Load(pb::Load),
    /// What had been received from whom, so that older records can be let go.
    #[prost(message, tag = "5")]
    Producers(Producers),
}

/// A batch as accepted.
#[derive(Clone, PartialEq, Message)]
pub struct Readings {
    /// Who sent it.
    #[prost(string, tag = "1")]
    pub gateway: String,
    /// The gateway's epoch.
    #[prost(uint64, tag = "2")]
    pub epoch: u64,
    /// The batch's sequence within the epoch.
    #[prost(uint64, tag = "3")]
    pub sequence: u64,
    /// Rows older than this are late, Unix milliseconds.
    #[prost(int64, tag = "4")]
    pub late_before_ms: i64,
    /// An encoded `rimeline.v1.Batch`.
    #[prost(bytes = "bytes", tag = "5")]
    pub batch: Bytes,
    /// The gateway has nothing below this sequence any more; 0: not stated.
    #[prost(uint64, tag = "6")]
    pub oldest_sequence: u64,
}

/// All that had been received when this was written.
#[derive(Clone, PartialEq, Message)]
pub struct Producers {
    /// One entry per gateway.
    #[prost(message, repeated, tag = "1")]
    pub producers: Vec<Producer>,
}

/// What had been received from one gateway.
#[derive(Clone, PartialEq, Message)]
pub struct Producer {
    /// Who.
    #[prost(string, tag = "1")]
    pub gateway: String,
    /// Its newest epoch.
    #[prost(uint64, tag = "2")]
    pub epoch: u64,
    /// Every sequence up to and including this one is durable.
    #[prost(uint64, tag = "3")]
    pub through: u64,
    /// Durable sequences beyond `through`.
    #[prost(uint64, repeated, tag = "4")]
    pub beyond: Vec<u64>,
}

impl Record {
    /// The bytes for the journal.
    pub fn to_bytes(&self) -> Bytes {
        self.encode_to_vec().into()
    }

    /// Reads a record back. The batch stays encoded until somebody needs it.
    pub fn from_bytes(bytes: Bytes) -> Result<Self, prost::DecodeError> {
        Self::decode(bytes)
    }
}
