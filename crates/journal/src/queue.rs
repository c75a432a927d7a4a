//! Records on their way to the disk: bounded in bytes, in the order in which they came.

use std::collections::VecDeque;
use std::sync::{Condvar, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use bytes::Bytes;
use tokio::sync::{Semaphore, TryAcquireError, oneshot};

use crate::format::FRAME_BYTES;
use crate::{JournalError, Position};

/// What the writer answers to a record.
pub(crate) type Answer = Result<Position, JournalError>;

/// A record that waits for the disk, and who waits for it.
pub(crate) struct Pending {
    pub record: Bytes,
    pub done: oneshot::Sender<Answer>,
}

/// What the writer shall do.
#[derive(Debug, PartialEq, Eq)]
pub(crate) enum Task {
    /// Write the group.
    Write,
    /// Everything is written and no more will come.
    Finish,
    /// Nobody waits any more.
    Abandon,
}

pub(crate) struct Queue {
    inner: Mutex<Inner>,
    ready: Condvar,
    room: Semaphore,
    commit_bytes: usize,
    linger: Duration,
}

struct Inner {
    waiting: VecDeque<Pending>,
    bytes: usize,
    /// The writer sleeps until this many bytes wait.
    wake_at: usize,
    last_group: usize,
    phase: Phase,
}

enum Phase {
    Open,
    Closing,
    Abandoned,
    Ended(JournalError),
}

impl Queue {
    pub(crate) fn new(queue_bytes: usize, commit_bytes: usize, linger: Duration) -> Self {
        let inner = Inner {
            waiting: VecDeque::new(),
            bytes: 0,
            wake_at: usize::MAX,
            last_group: 0,
            phase: Phase::Open,
        };
        Self {
            inner: Mutex::new(inner),
            ready: Condvar::new(),
            room: Semaphore::new(queue_bytes),
            commit_bytes,
            linger,
        }
    }

    /// Takes a record in if there is room and nobody waits for it; gives it back otherwise.
    pub(crate) fn try_push(&self, record: Bytes) -> Result<oneshot::Receiver<Answer>, Refused> {
        match self.room.try_acquire_many(cost(&record) as u32) {
            Ok(room) => {
                room.forget();
                self.put(record).map_err(Refused::Ended)
            }
            Err(TryAcquireError::NoPermits) => Err(Refused::NoRoom(record)),
            Err(TryAcquireError::Closed) => Err(Refused::Ended(self.reason())),
        }
    }

    /// Takes a record in once there is room; those that wait get it in the order in which they asked.
    pub(crate) async fn push(&self, record: Bytes) -> Result<oneshot::Receiver<Answer>, JournalError> {
        match self.room.acquire_many(cost(&record) as u32).await {
            Ok(room) => {
                room.forget();
                self.put(record)
            }
            Err(_closed) => Err(self.reason()),
        }
    }

    fn put(&self, record: Bytes) -> Result<oneshot::Receiver<Answer>, JournalError> {
        let (done, answer) = oneshot::channel();
        let mut inner = self.lock();
        if let Some(reason) = inner.phase.refusal() {
            return Err(reason);
        }
        inner.bytes += weight(&record);
        inner.waiting.push_back(Pending { record, done });
        if inner.bytes >= inner.wake_at {
            inner.wake_at = usize::MAX;
            self.ready.notify_one();
        }
        Ok(answer)
    }

    /// Waits for work and moves a group of it to `group`, which must be empty.
    pub(crate) fn take(&self, group: &mut Vec<Pending>) -> Task {
        let mut inner = self.lock();
        while inner.waiting.is_empty() {
            match inner.phase {
                Phase::Open => {
                    inner.wake_at = 1;
                    inner = self.ready.wait(inner).unwrap_or_else(PoisonError::into_inner);
                }
                Phase::Closing => return Task::Finish,
                Phase::Abandoned | Phase::Ended(_) => return Task::Abandon,
            }
        }
        inner = self.wait_for_company(inner);
        if matches!(inner.phase, Phase::Abandoned) {
            return Task::Abandon;
        }
        let mut bytes = 0;
        while let Some(next) = inner.waiting.front() {
            bytes += weight(&next.record);
            if bytes > self.commit_bytes && !group.is_empty() {
                break;
            }
            inner.bytes -= weight(&next.record);
            group.extend(inner.waiting.pop_front());
        }
        inner.wake_at = usize::MAX;
        inner.last_group = group.len();
        Task::Write
    }

    fn wait_for_company<'a>(&'a self, mut inner: MutexGuard<'a, Inner>) -> MutexGuard<'a, Inner> {
        if self.linger.is_zero() || inner.last_group < 2 {
            return inner;
        }
        let until = Instant::now() + self.linger;
        while inner.bytes < self.commit_bytes && matches!(inner.phase, Phase::Open) {
            let left = until.saturating_duration_since(Instant::now());
            if left.is_zero() {
                break;
            }
            inner.wake_at = self.commit_bytes;
            inner = self.ready.wait_timeout(inner, left).unwrap_or_else(PoisonError::into_inner).0;
        }
        inner
    }

    /// Gives back the room of records that have been answered.
    pub(crate) fn release(&self, bytes: usize) {
        self.room.add_permits(bytes);
    }

    /// No more records come in; those that wait are still written.
    pub(crate) fn close(&self) {
        self.leave(Phase::Closing);
    }

    /// No more records come in and none are written.
    pub(crate) fn abandon(&self) {
        self.leave(Phase::Abandoned);
    }

    fn leave(&self, phase: Phase) {
        let mut inner = self.lock();
        if !matches!(inner.phase, Phase::Ended(_)) {
            inner.phase = phase;
        }
        drop(inner);
        self.room.close();
        self.ready.notify_one();
    }

    /// Answers all that wait, and all that ever come, with `reason`, or with the first one that was given.
    pub(crate) fn end(&self, reason: &JournalError) {
        let mut inner = self.lock();
        if !matches!(inner.phase, Phase::Ended(_)) {
            inner.phase = Phase::Ended(reason.clone());
        }
        let waiting = std::mem::take(&mut inner.waiting);
        drop(inner);
        self.room.close();
        let reason = self.reason();
        for pending in waiting {
            // Whoever has gone away wants no answer.
            let _ = pending.done.send(Err(reason.clone()));
        }
    }

    /// Why the queue takes nothing.
    pub(crate) fn reason(&self) -> JournalError {
        self.lock().phase.refusal().unwrap_or(JournalError::Closed)
    }

    fn lock(&self) -> MutexGuard<'_, Inner> {
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Phase {
    fn refusal(&self) -> Option<JournalError> {
        match self {
            Self::Open => None,
            Self::Closing | Self::Abandoned => Some(JournalError::Closed),
            Self::Ended(reason) => Some(reason.clone()),
        }
    }
}

/// Why a record was not taken in at once.
pub(crate) enum Refused {
    NoRoom(Bytes),
    Ended(JournalError),
}

/// Memory of a waiting record beside its bytes: the queue's slot, the answer's channel, the caller's future.
pub(crate) const BESIDE_RECORD: usize = 256;

/// What a record takes of the queue.
pub(crate) fn cost(record: &Bytes) -> usize {
    record.len() + BESIDE_RECORD
}

/// What a record takes of a segment.
pub(crate) fn weight(record: &Bytes) -> usize {
    record.len() + FRAME_BYTES
}
