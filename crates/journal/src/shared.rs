//! What the writer, the readers and the trimmer have in common.

use std::collections::VecDeque;
use std::path::PathBuf;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError, RwLock, RwLockReadGuard, RwLockWriteGuard};

use tokio::sync::watch;

use crate::checkpoint::Checkpoint;
use crate::disk::{Disk, DiskFile};
use crate::queue::Queue;
use crate::{JournalError, Options};

pub(crate) struct Shared {
    pub disk: Arc<dyn Disk>,
    pub dir: PathBuf,
    pub id: u64,
    pub options: Options,
    pub queue: Queue,
    pub progress: watch::Sender<Progress>,
    keeper: Mutex<Keeper>,
    segments: RwLock<Segments>,
}

/// How far the journal is on disk.
#[derive(Clone, Debug)]
pub(crate) struct Progress {
    pub end: u64,
    /// Why it will not grow any more.
    pub ended: Option<JournalError>,
}

/// Which segments there are.
pub(crate) struct Segments {
    /// Where they start, ascending. Never empty.
    pub starts: VecDeque<u64>,
    /// The last of them.
    pub active: Arc<dyn DiskFile>,
}

/// Who holds this may change the checkpoint.
pub(crate) struct Keeper {
    pub checkpoint: Checkpoint,
    /// Trimmed segments whose files could not be removed yet.
    pub doomed: Vec<PathBuf>,
    /// The directory may be someone else's by now.
    pub closed: bool,
}

impl Shared {
    pub(crate) fn new(
        disk: Arc<dyn Disk>,
        dir: PathBuf,
        options: Options,
        checkpoint: Checkpoint,
        segments: Segments,
        end: u64,
    ) -> Self {
        let queue = Queue::new(options.queue_bytes, options.commit_bytes, options.commit_interval);
        Self {
            disk,
            dir,
            id: checkpoint.id,
            options,
            queue,
            progress: watch::Sender::new(Progress { end, ended: None }),
            keeper: Mutex::new(Keeper { checkpoint, doomed: Vec::new(), closed: false }),
            segments: RwLock::new(segments),
        }
    }

    pub(crate) fn segments(&self) -> RwLockReadGuard<'_, Segments> {
        self.segments.read().unwrap_or_else(PoisonError::into_inner)
    }

    pub(crate) fn segments_mut(&self) -> RwLockWriteGuard<'_, Segments> {
        self.segments.write().unwrap_or_else(PoisonError::into_inner)
    }

    pub(crate) fn keeper(&self) -> MutexGuard<'_, Keeper> {
        self.keeper.lock().unwrap_or_else(PoisonError::into_inner)
    }

    pub(crate) fn start(&self) -> u64 {
        self.segments().starts.front().copied().unwrap_or(0)
    }

    pub(crate) fn end(&self) -> u64 {
        self.progress.borrow().end
    }

    /// Why the journal takes nothing more.
    pub(crate) fn ended(&self) -> Option<JournalError> {
        self.progress.borrow().ended.clone()
    }

    /// Nothing is accepted from now on: tells everyone who waits, and everyone who comes.
    pub(crate) fn finish(&self, reason: &JournalError) {
        self.queue.end(reason);
        self.progress.send_modify(|progress| {
            progress.ended.get_or_insert_with(|| reason.clone());
        });
    }
}
