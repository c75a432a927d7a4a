use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;

use bytes::Bytes;
use tokio::sync::oneshot;

use crate::disk::{Disk, RealDisk};
use crate::queue::{Answer, Refused};
use crate::shared::Shared;
use crate::{BoxFuture, Entry, Journal, JournalError, Options, Position, read, recover, trim};

/// A journal in segment files of a directory of its own.
///
/// End it with [`LocalJournal::close`]. One that is only dropped writes nothing more: what was not acknowledged may be
/// lost, what was acknowledged is on disk as always.
pub struct LocalJournal {
    shared: Arc<Shared>,
    writer: Mutex<Option<JoinHandle<()>>>,
}

impl LocalJournal {
    /// Opens the journal in a directory, or creates it where the directory is empty or missing.
    ///
    /// Reads all of it: a torn write at the end is cut off, damage anywhere else is an error. Blocks for the disk.
    pub fn open(dir: impl AsRef<Path>, options: Options) -> Result<Self, JournalError> {
        Self::open_on(Arc::new(RealDisk), dir, options)
    }

    /// As [`LocalJournal::open`], on a file system of the caller's.
    pub fn open_on(
        disk: Arc<dyn Disk>,
        dir: impl AsRef<Path>,
        options: Options,
    ) -> Result<Self, JournalError> {
        options.check()?;
        let dir = dir.as_ref();
        let (shared, writer) = recover::open(disk, dir, options)?;
        let thread = std::thread::Builder::new().name("journal".into()).spawn(move || writer.run());
        let thread = thread.map_err(|source| JournalError::Io {
            action: "start a thread for",
            path: dir.into(),
            source: Arc::new(source),
        })?;
        Ok(Self { shared, writer: Mutex::new(Some(thread)) })
    }

    /// Writes what waits, notes the end, and gives the directory free. Appends that come later are refused.
    ///
    /// An error says that something that was waiting, or the note, is not on disk.
    pub async fn close(&self) -> Result<(), JournalError> {
        self.shared.queue.close();
        let mut progress = self.shared.progress.subscribe();
        let ended = progress.wait_for(|progress| progress.ended.is_some()).await;
        let ended = ended.ok().and_then(|progress| progress.ended.clone());
        self.join();
        match ended {
            Some(JournalError::Closed) | None => Ok(()),
            Some(error) => Err(error),
        }
    }

    /// Bytes of records and their frames that the journal holds.
    pub fn held_bytes(&self) -> u64 {
        self.shared.end() - self.shared.start()
    }

    fn join(&self) {
        let thread = self.writer.lock().unwrap_or_else(PoisonError::into_inner).take();
        if let Some(thread) = thread {
            // A writer that panicked has told everyone that it is gone.
            let _ = thread.join();
        }
    }
}

impl Drop for LocalJournal {
    fn drop(&mut self) {
        self.shared.queue.abandon();
        // For at most one sync: else the directory would seem in use for a moment longer.
        self.join();
    }
}

impl Journal for LocalJournal {
    fn id(&self) -> u64 {
        self.shared.id
    }

    fn append(&self, record: Bytes) -> BoxFuture<'_, Answer> {
        let limit = self.shared.options.max_record_bytes;
        if record.len() > limit {
            return Box::pin(std::future::ready(Err(JournalError::TooLarge { bytes: record.len(), limit })));
        }
        match self.shared.queue.try_push(record) {
            Ok(receiver) => Box::pin(self.answer(receiver)),
            Err(Refused::Ended(reason)) => Box::pin(std::future::ready(Err(reason))),
            Err(Refused::NoRoom(record)) => Box::pin(async move {
                let receiver = self.shared.queue.push(record).await?;
                self.answer(receiver).await
            }),
        }
    }

    fn read(&self, from: Position, max_bytes: usize) -> Result<Vec<Entry>, JournalError> {
        read::read(&self.shared, from, max_bytes)
    }

    fn wait_beyond(&self, position: Position) -> BoxFuture<'_, Answer> {
        let mut progress = self.shared.progress.subscribe();
        Box::pin(async move {
            let grown = |end: u64| end > position.get();
            let now = progress.wait_for(|p| grown(p.end) || p.ended.is_some()).await;
            let now = now.map_err(|_gone| JournalError::Closed)?;
            match &now.ended {
                Some(reason) if !grown(now.end) => Err(reason.clone()),
                _ => Ok(Position::new(now.end)),
            }
        })
    }

    fn start(&self) -> Position {
        Position::new(self.shared.start())
    }

    fn end(&self) -> Position {
        Position::new(self.shared.end())
    }

    fn trim(&self, to: Position) -> Result<(), JournalError> {
        trim::trim(&self.shared, to)
    }
}

impl LocalJournal {
    async fn answer(&self, receiver: oneshot::Receiver<Answer>) -> Answer {
        match receiver.await {
            Ok(answer) => answer,
            Err(_dropped) => Err(self.shared.queue.reason()),
        }
    }
}
