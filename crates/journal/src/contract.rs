use std::future::Future;
use std::pin::Pin;

use bytes::Bytes;

use crate::{Entry, JournalError, Position};

/// A future on the heap, so that [`Journal`] can be a trait object.
pub type BoxFuture<'a, T> = Pin<Box<dyn Future<Output = T> + Send + 'a>>;

/// The one order of events.
///
/// Any number of tasks append; any number of readers follow, each with a position of its own that it keeps itself.
pub trait Journal: Send + Sync + 'static {
    /// Which journal this is: a number drawn when it was created. A position means nothing in another journal, so a
    /// reader keeps the id beside its position.
    fn id(&self) -> u64;

    /// Adds a record and resolves with the position after it, only once the record is on disk.
    ///
    /// The record takes its place in the order when this is called if the queue has room, else when the future is
    /// polled and room comes. A future dropped while it waits for room leaves nothing behind; dropped later, its
    /// record is written all the same. After an error the record may be in the journal only if the error is
    /// [`JournalError::Stopped`].
    fn append(&self, record: Bytes) -> BoxFuture<'_, Result<Position, JournalError>>;

    /// Records on disk from a position on: about `max_bytes` of them, at least one if there is one, none at the end.
    ///
    /// Blocks for the disk, and takes memory for `max_bytes` or one record, whichever is more.
    fn read(&self, from: Position, max_bytes: usize) -> Result<Vec<Entry>, JournalError>;

    /// Resolves with the end of the journal once that is beyond `position`.
    fn wait_beyond(&self, position: Position) -> BoxFuture<'_, Result<Position, JournalError>>;

    /// The first position that can be read.
    fn start(&self) -> Position;

    /// The position after the last record on disk.
    fn end(&self) -> Position;

    /// Forgets records before `to`, in whole segments, so that some may stay. Blocks for the disk.
    fn trim(&self, to: Position) -> Result<(), JournalError>;
}
