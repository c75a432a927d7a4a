use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use rimeline_channels::{Batch, EventKind, Id, Reading, UnixMs};
use rimeline_clock::Clock;
use tokio::sync::{Notify, watch};
use tokio::task::JoinHandle;
use tonic::transport::Channel;

use crate::collector::{Collector, Outlet};
use crate::keep::{Disk, Keep, Memory};
use crate::link::{self, Ledger, Shared, wire};
use crate::progress::{ClockOffset, Observer, Progress, Totals};
use crate::{Config, GatewayError};

/// A gateway at work: what is given to it is kept, sent, and let go when the server has it on disk.
///
/// Connecting, and connecting again, goes on by itself. End it with [`Gateway::finish`] (everything is acknowledged) or
/// [`Gateway::close`] (now; a spool keeps what is left). One that is only dropped stops at once.
pub struct Gateway {
    shared: Arc<Shared>,
    collector: Collector,
    tasks: [AbortOnDrop; 2],
}

struct AbortOnDrop(JoinHandle<()>);

impl Drop for AbortOnDrop {
    fn drop(&mut self) {
        self.0.abort();
    }
}

impl Gateway {
    /// Opens the spool, if any, and starts. Does not wait for the server: see [`Gateway::reached`].
    pub async fn connect(config: Config, clock: Arc<dyn Clock>) -> Result<Self, GatewayError> {
        Self::connect_with(config, clock, Arc::new(|_| ())).await
    }

    /// As [`Gateway::connect`], with somebody who is told what happens.
    pub async fn connect_with(
        config: Config,
        clock: Arc<dyn Clock>,
        observer: Observer,
    ) -> Result<Self, GatewayError> {
        let channel = wire::channel(&config.endpoint)?;
        Self::over(channel, config, clock, observer).await
    }

    /// As [`Gateway::connect_with`], over a channel of the caller's, e.g. one with TLS. It must connect by itself.
    pub async fn over(
        channel: Channel,
        config: Config,
        clock: Arc<dyn Clock>,
        observer: Observer,
    ) -> Result<Self, GatewayError> {
        config.check()?;
        let begin = config.epoch.unwrap_or_else(|| clock.now_ms().max(1) as u64);
        let (keep, epoch, keep_bytes) = open(&config, begin).await?;
        let settled = keep.settled();
        let ledger = Ledger::new(settled, keep.last());
        let shared = Arc::new(Shared {
            config,
            epoch,
            channel,
            clock,
            keep,
            wake: Notify::new(),
            closing: AtomicBool::new(false),
            progress: watch::Sender::new(Progress::new(settled)),
            observer,
        });
        let sender = tokio::spawn(link::run(Arc::clone(&shared), ledger));
        let outlet = Outlet { shared: Arc::clone(&shared), keep_bytes };
        let collector = Collector::new(shared.config.batch, outlet);
        let flusher = tokio::spawn(collector.clone().keep_time());
        Ok(Self { shared, collector, tasks: [AbortOnDrop(sender), AbortOnDrop(flusher)] })
    }

    /// This gateway's epoch: from the spool, the configuration or the clock.
    pub fn epoch(&self) -> u64 {
        self.shared.epoch
    }

    /// Waits until the server is reached. The error says why it was not, should that take longer than `within`.
    pub async fn reached(&self, within: Duration) -> Result<(), GatewayError> {
        let mut progress = self.shared.progress.subscribe();
        let settled = progress.wait_for(|progress| progress.connected || progress.ended.is_some());
        match tokio::time::timeout(within, settled).await {
            Ok(Ok(progress)) => progress.ended.clone().map_or(Ok(()), Err),
            Ok(Err(_)) => Err(GatewayError::Closed),
            Err(_late) => Err(self.shared.progress.borrow().trouble.clone().unwrap_or_else(|| {
                GatewayError::Unavailable {
                    endpoint: self.shared.config.endpoint.clone(),
                    code: tonic::Code::DeadlineExceeded,
                    message: format!("no answer within {within:?}"),
                    retry_after: None,
                }
            })),
        }
    }

    /// Keeps a batch and has it sent; returns its sequence, or that of its last part where it had to be cut to size.
    ///
    /// Returns once the batch is kept: on disk with a spool, else in memory, for which it waits while that is full. An
    /// error says that the batch, or the rest of it from the part that failed on, was not taken.
    pub async fn send(&self, batch: &Batch) -> Result<u64, GatewayError> {
        if let Some(error) = &self.shared.progress.borrow().ended {
            return Err(error.clone());
        }
        let outlet = self.collector.outlet();
        let mut last = 0;
        for part in outlet.cut(batch)? {
            last = outlet.keep(part).await?;
        }
        Ok(last)
    }

    /// Adds a reading to the batch that is being collected; it is sent when it is full or old enough.
    ///
    /// An error says that the reading was not taken, because what was collected before it cannot be kept.
    pub async fn push(&self, unit: &Id, reading: &Reading) -> Result<(), GatewayError> {
        self.collector.push(unit, reading).await
    }

    /// Adds an event to the batch that is being collected, as [`Gateway::push`] does.
    pub async fn push_event(&self, unit: &Id, time: UnixMs, kind: EventKind) -> Result<(), GatewayError> {
        self.collector.push_event(unit, time, kind).await
    }

    /// Keeps what is being collected now, and has it sent.
    pub async fn flush(&self) -> Result<(), GatewayError> {
        self.collector.flush().await
    }

    /// What became of the batches so far.
    pub fn totals(&self) -> Totals {
        totals(&self.shared)
    }

    /// How far this clock is from the server's, as of the last connection.
    pub fn clock_offset(&self) -> Option<ClockOffset> {
        self.shared.progress.borrow().clock
    }

    /// Waits until the server has everything on disk, and ends. Waits as long as it takes: bound it with a timeout
    /// where that matters; a spool keeps what is left.
    pub async fn finish(self) -> Result<Totals, GatewayError> {
        let outcome = self.settle().await;
        let stopped = self.stop().await;
        let totals = outcome?;
        stopped.map(|()| totals)
    }

    /// Keeps what is being collected, stops sending, and gives the spool free. Without a spool, what was not
    /// acknowledged is lost; the totals tell.
    pub async fn close(self) -> Result<Totals, GatewayError> {
        let kept = match self.shared.keep {
            Keep::Disk(_) => self.flush().await,
            Keep::Memory(_) => Ok(()),
        };
        let totals = self.totals();
        let stopped = self.stop().await;
        kept.and(stopped).map(|()| totals)
    }

    async fn settle(&self) -> Result<Totals, GatewayError> {
        self.flush().await?;
        let mut progress = self.shared.progress.subscribe();
        if self.shared.keep.last() > 0 {
            self.shared.closing.store(true, Ordering::Release);
            self.shared.wake.notify_one();
            let done = progress.wait_for(|progress| progress.finished || progress.ended.is_some());
            let progress = done.await.map_err(|_gone| GatewayError::Closed)?;
            if let Some(error) = &progress.ended {
                return Err(error.clone());
            }
        }
        Ok(self.totals())
    }

    async fn stop(mut self) -> Result<(), GatewayError> {
        for AbortOnDrop(task) in &mut self.tasks {
            task.abort();
            let _ = task.await;
        }
        self.shared.keep.close().await
    }
}

async fn open(config: &Config, epoch: u64) -> Result<(Keep, u64, usize), GatewayError> {
    let Some(spool) = config.spool.clone() else {
        let memory = Memory::new(config.memory_bytes);
        return Ok((Keep::Memory(memory), epoch, usize::MAX));
    };
    let gateway = config.gateway.clone();
    let opening = tokio::task::spawn_blocking(move || Disk::open(&spool, &gateway, epoch));
    let disk = opening.await.unwrap_or(Err(GatewayError::Closed))?;
    let (epoch, bytes) = (disk.epoch(), disk.batch_bytes());
    Ok((Keep::Disk(disk), epoch, bytes))
}

fn totals(shared: &Shared) -> Totals {
    let progress = shared.progress.borrow();
    let mut totals = progress.totals.clone();
    totals.duplicate += progress.held_before.min(shared.keep.last());
    // Dropped and not yet settled with the server, which may have some of them on the way.
    totals.dropped += (shared.keep.oldest() - 1).saturating_sub(progress.settled);
    totals
}
