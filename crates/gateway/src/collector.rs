use std::collections::VecDeque;
use std::sync::Arc;
use std::time::{Duration, Instant};

use rimeline_channels::{Batch, EventKind, Id, Reading, UnixMs};
use tokio::sync::{Mutex, MutexGuard, Notify};

use crate::batcher::Batcher;
use crate::link::{Shared, wire};
use crate::progress::Notice;
use crate::split::{self, Body, Room};
use crate::{BatchLimits, GatewayError};

/// No event says more than this; the server takes 256 characters.
const EVENT_BYTES: usize = 2_000;
const TRY_AGAIN: Duration = Duration::from_secs(1);

/// Where batches go.
#[derive(Clone)]
pub(crate) struct Outlet {
    pub shared: Arc<Shared>,
    /// The largest batch that can be kept.
    pub keep_bytes: usize,
}

impl Outlet {
    /// The batch in parts that fit.
    pub(crate) fn cut(&self, batch: &Batch) -> Result<Vec<Body>, GatewayError> {
        let limits = self.shared.progress.borrow().limits.unwrap_or_default();
        let least = |own: usize, server: u32| {
            if server == 0 { own } else { own.min(server as usize) }
        };
        let own = &self.shared.config.batch;
        let bytes = least(own.bytes, limits.max_message_bytes.saturating_sub(wire::AROUND_BATCH as u32));
        let room = Room {
            rows: least(own.rows, limits.max_rows_per_batch),
            units: least(own.units, limits.max_units_per_batch),
            bytes: bytes.min(self.keep_bytes),
            bytes_at_most: self.keep_bytes,
        };
        split::fit(batch, room)
    }

    /// Keeps a part and has it sent.
    pub(crate) async fn keep(&self, part: Body) -> Result<u64, GatewayError> {
        let kept = self.shared.keep.append(part).await;
        let (sequence, gone) =
            kept.map_err(|error| self.shared.progress.borrow().ended.clone().unwrap_or(error))?;
        self.shared.wake.notify_one();
        if let Some(gone) = gone {
            let settled = self.shared.progress.borrow().settled;
            let (first, last) = (gone.first.max(settled + 1), gone.last);
            if first <= last {
                let gateway = &self.shared.config.gateway;
                tracing::warn!(%gateway, first, last, "the spool is full: dropped the oldest batches");
                (self.shared.observer)(Notice::Dropped { first, last });
            }
        }
        Ok(sequence)
    }
}

/// Collects readings and hands on what is full or old enough. A batch that cannot be kept now (a disk with no room,
/// say) stays and is tried again; until it is kept, nothing more is taken.
#[derive(Clone)]
pub(crate) struct Collector {
    outlet: Outlet,
    collecting: Arc<Mutex<Collecting>>,
    /// Something has come that will be due.
    begun: Arc<Notify>,
}

struct Collecting {
    batcher: Batcher,
    /// Full, and not kept yet.
    full: VecDeque<Body>,
}

impl Collector {
    pub(crate) fn new(limits: BatchLimits, outlet: Outlet) -> Self {
        let collecting = Collecting { batcher: Batcher::new(limits), full: VecDeque::new() };
        Self { outlet, collecting: Arc::new(Mutex::new(collecting)), begun: Arc::default() }
    }

    pub(crate) fn outlet(&self) -> &Outlet {
        &self.outlet
    }

    pub(crate) async fn push(&self, unit: &Id, reading: &Reading) -> Result<(), GatewayError> {
        let mut collecting = self.with_room().await?;
        let full = collecting.batcher.push(unit, reading, Instant::now());
        self.hand_on(collecting, full).await
    }

    pub(crate) async fn push_event(
        &self,
        unit: &Id,
        time: UnixMs,
        kind: EventKind,
    ) -> Result<(), GatewayError> {
        let bytes = match &kind {
            EventKind::AlarmRaised(alarm) | EventKind::AlarmCleared(alarm) => {
                alarm.code.len() + alarm.text.len()
            }
            EventKind::StateChanged(_) | EventKind::SetPointChanged(_) => 0,
        };
        if bytes > EVENT_BYTES {
            let limit = EVENT_BYTES;
            return Err(GatewayError::TooLarge { bytes, limit });
        }
        let mut collecting = self.with_room().await?;
        let full = collecting.batcher.push_event(unit, time, kind, Instant::now());
        self.hand_on(collecting, full).await
    }

    pub(crate) async fn flush(&self) -> Result<(), GatewayError> {
        let mut collecting = self.collecting.lock().await;
        if let Some(batch) = collecting.batcher.take() {
            collecting.full.extend(self.outlet.cut(&batch)?);
        }
        drop(collecting);
        self.drain().await
    }

    /// Hands on batches that are old enough, and tries those again that could not be kept. Never ends.
    pub(crate) async fn keep_time(self) {
        loop {
            let collecting = self.collecting.lock().await;
            let (due, stuck) = (collecting.batcher.due(), !collecting.full.is_empty());
            drop(collecting);
            match due {
                _ if stuck => tokio::time::sleep(TRY_AGAIN).await,
                Some(due) => tokio::time::sleep_until(due.into()).await,
                None => self.begun.notified().await,
            }
            let mut collecting = self.collecting.lock().await;
            let full = collecting.batcher.take_due(Instant::now());
            if full.is_none() && collecting.full.is_empty() {
                continue;
            }
            if let Err(error) = self.hand_on(collecting, full).await {
                tracing::error!(%error, "what was collected cannot be kept");
            }
        }
    }

    /// The lock, once what is full has been kept.
    async fn with_room(&self) -> Result<MutexGuard<'_, Collecting>, GatewayError> {
        loop {
            let collecting = self.collecting.lock().await;
            if let Some(error) = &self.outlet.shared.progress.borrow().ended {
                return Err(error.clone());
            }
            if collecting.full.is_empty() {
                return Ok(collecting);
            }
            drop(collecting);
            self.drain().await?;
        }
    }

    /// Sees to a batch that is full. What was collected is safe from here on, so an error of the keep is not the
    /// caller's: the next one hears of it if it lasts.
    async fn hand_on(
        &self,
        mut collecting: MutexGuard<'_, Collecting>,
        full: Option<Batch>,
    ) -> Result<(), GatewayError> {
        if collecting.batcher.due().is_some() {
            self.begun.notify_one();
        }
        if let Some(batch) = full {
            collecting.full.extend(self.outlet.cut(&batch)?);
        }
        if collecting.full.is_empty() {
            return Ok(());
        }
        drop(collecting);
        if let Err(error) = self.drain().await {
            tracing::warn!(%error, "a full batch cannot be kept now");
            self.begun.notify_one();
        }
        Ok(())
    }

    /// Keeps what is full, in order. In a task of its own: a caller that goes away half-way must not lose or double it.
    async fn drain(&self) -> Result<(), GatewayError> {
        let (outlet, collecting) = (self.outlet.clone(), Arc::clone(&self.collecting));
        let draining = tokio::spawn(async move {
            let mut collecting = collecting.lock().await;
            while let Some(part) = collecting.full.front() {
                outlet.keep(part.clone()).await?;
                collecting.full.pop_front();
            }
            Ok(())
        });
        draining.await.unwrap_or(Err(GatewayError::Closed))
    }
}
