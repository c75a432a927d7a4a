//! Where batches wait until they are acknowledged.

mod disk;
mod memory;
mod place;

use bytes::Bytes;

use crate::GatewayError;
use crate::split::Body;
pub(crate) use disk::Disk;
pub(crate) use memory::Memory;
use place::DiskReader;

/// A batch that waits, with the bytes that go on the wire.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Kept {
    pub sequence: u64,
    pub batch: Bytes,
}

/// Sequences that were given up to make room.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Gone {
    pub first: u64,
    pub last: u64,
}

/// The writing side.
#[derive(Clone)]
pub(crate) enum Keep {
    Memory(Memory),
    Disk(Disk),
}

impl Keep {
    /// Gives the batch the next sequence and keeps it; says what had to go for it.
    pub(crate) async fn append(&self, body: Body) -> Result<(u64, Option<Gone>), GatewayError> {
        match self {
            Self::Memory(memory) => memory.append(body).await.map(|sequence| (sequence, None)),
            Self::Disk(disk) => disk.append(body).await,
        }
    }

    /// The oldest sequence that can still be sent; the next one where nothing waits.
    pub(crate) fn oldest(&self) -> u64 {
        match self {
            Self::Memory(memory) => memory.oldest(),
            Self::Disk(disk) => disk.oldest(),
        }
    }

    /// Every sequence up to here is known to be acknowledged, or was given up.
    pub(crate) fn settled(&self) -> u64 {
        match self {
            Self::Memory(memory) => memory.oldest() - 1,
            Self::Disk(disk) => disk.settled(),
        }
    }

    /// The last sequence given.
    pub(crate) fn last(&self) -> u64 {
        match self {
            Self::Memory(memory) => memory.last(),
            Self::Disk(disk) => disk.last(),
        }
    }

    pub(crate) fn reader(&self) -> Reader {
        match self {
            Self::Memory(memory) => Reader::Memory(memory.clone()),
            Self::Disk(disk) => Reader::Disk(DiskReader::new(disk.clone())),
        }
    }

    /// Lets nobody wait for room that will not come. A spool goes on taking batches, for the next start.
    pub(crate) fn let_go(&self) {
        if let Self::Memory(memory) = self {
            memory.close();
        }
    }

    /// Refuses what comes later and gives the directory free.
    pub(crate) async fn close(&self) -> Result<(), GatewayError> {
        match self {
            Self::Memory(memory) => memory.close(),
            Self::Disk(disk) => disk.close().await?,
        }
        Ok(())
    }
}

/// The reading side; the sender has the only one.
pub(crate) enum Reader {
    Memory(Memory),
    Disk(DiskReader),
}

impl Reader {
    /// Some batches from a sequence on, in order; they begin later where that one is gone.
    pub(crate) async fn fetch(&mut self, from: u64, most: usize) -> Result<Vec<Kept>, GatewayError> {
        match self {
            Self::Memory(memory) => Ok(memory.fetch(from, most)),
            Self::Disk(reader) => reader.fetch(from).await,
        }
    }

    /// Lets go of what the server has.
    pub(crate) async fn release(&mut self, through: u64) -> Result<(), GatewayError> {
        match self {
            Self::Memory(memory) => {
                memory.release(through);
                Ok(())
            }
            Self::Disk(reader) => reader.release(through).await,
        }
    }
}
