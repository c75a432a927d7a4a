use std::collections::VecDeque;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use tokio::sync::{OwnedSemaphorePermit, Semaphore};

use super::Kept;
use crate::GatewayError;
use crate::split::Body;

/// Batches in memory, bounded in bytes: who brings more waits until some were acknowledged.
#[derive(Clone)]
pub(crate) struct Memory {
    room: Arc<Semaphore>,
    limit: u32,
    waiting: Arc<Mutex<Waiting>>,
}

#[derive(Default)]
struct Waiting {
    batches: VecDeque<(Kept, OwnedSemaphorePermit)>,
    last: u64,
    released: u64,
}

impl Memory {
    pub(crate) fn new(limit: u32) -> Self {
        Self { room: Arc::new(Semaphore::new(limit as usize)), limit, waiting: Arc::default() }
    }

    pub(super) async fn append(&self, body: Body) -> Result<u64, GatewayError> {
        // One batch over the whole limit goes alone.
        let bytes = u32::try_from(body.len()).unwrap_or(u32::MAX).min(self.limit);
        let room = Arc::clone(&self.room).acquire_many_owned(bytes).await;
        let room = room.map_err(|_closed| GatewayError::Closed)?;
        let mut waiting = self.lock();
        let sequence = waiting.last + 1;
        let batch = body.bytes(sequence);
        waiting.last = sequence;
        // The server may hold what only now comes again.
        if sequence > waiting.released {
            waiting.batches.push_back((Kept { sequence, batch }, room));
        }
        Ok(sequence)
    }

    pub(super) fn fetch(&self, from: u64, most: usize) -> Vec<Kept> {
        let waiting = self.lock();
        let before = waiting.batches.partition_point(|(kept, _)| kept.sequence < from);
        let batches = waiting.batches.iter().skip(before).take(most);
        batches.map(|(kept, _)| kept.clone()).collect()
    }

    pub(super) fn release(&self, through: u64) {
        let mut waiting = self.lock();
        waiting.released = waiting.released.max(through);
        let done = waiting.batches.partition_point(|(kept, _)| kept.sequence <= through);
        waiting.batches.drain(..done);
    }

    pub(super) fn oldest(&self) -> u64 {
        let waiting = self.lock();
        waiting.batches.front().map_or(waiting.last + 1, |(kept, _)| kept.sequence)
    }

    pub(super) fn last(&self) -> u64 {
        self.lock().last
    }

    pub(super) fn close(&self) {
        self.room.close();
    }

    fn lock(&self) -> MutexGuard<'_, Waiting> {
        self.waiting.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
