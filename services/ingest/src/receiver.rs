use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use rimeline_channels::{HOUR_MS, Id};
use rimeline_clock::Clock;
use rimeline_journal::{BoxFuture, Journal, Position};
use rimeline_wire::batch::{Bounds, check, write};
use rimeline_wire::pb::{self, Hello, Limits, Receipt, Welcome};
use rimeline_wire::record::{Body, Readings, Record};
use tokio::sync::Notify;
use tokio_util::sync::CancellationToken;

use crate::producers::{Admission, Producers};
use crate::{IngestConfig, IngestError};

/// How much of the journal is read at a time when what was received is rebuilt.
const REPLAY_BYTES: usize = 4 << 20;

/// What the ingest role works with.
#[derive(Clone)]
pub struct Parts {
    /// Where accepted batches go.
    pub journal: Arc<dyn Journal>,
    /// Where "now" comes from.
    pub clock: Arc<dyn Clock>,
    /// Cancelled by the role itself when the journal can no longer make anything durable.
    pub shutdown: CancellationToken,
}

/// A gateway that has said Hello.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Sender {
    gateway: Id,
    epoch: u64,
    oldest_sequence: u64,
}

/// Takes batches in, whatever transport they came by.
pub struct Receiver {
    config: IngestConfig,
    parts: Parts,
    producers: Mutex<Producers>,
    settled: Notify,
}

impl Receiver {
    /// Rebuilds from the journal what has been received, in bounded memory.
    pub fn open(config: IngestConfig, parts: Parts) -> Result<Self, IngestError> {
        let mut producers = Producers::default();
        let mut at = parts.journal.start();
        loop {
            let entries = parts.journal.read(at, REPLAY_BYTES)?;
            let Some(last) = entries.last() else { break };
            at = last.next;
            for entry in entries {
                let position = entry.position.get();
                let record = Record::from_bytes(entry.record)
                    .map_err(|error| IngestError::BadRecord { position, message: error.to_string() })?;
                // A clock that follows data stands where it stood.
                parts.clock.observe(record.received_ms);
                if let Some(body) = &record.body {
                    producers.replay(body);
                }
            }
        }
        Ok(Self { config, parts, producers: Mutex::new(producers), settled: Notify::new() })
    }

    /// The limits that gateways are told.
    pub fn config(&self) -> &IngestConfig {
        &self.config
    }

    /// Cancelled when the role ends.
    pub fn shutdown(&self) -> &CancellationToken {
        &self.parts.shutdown
    }

    /// Hears a Hello.
    pub fn greet(&self, hello: &Hello) -> Result<(Sender, Welcome), IngestError> {
        let gateway = Id::new(&hello.gateway)?;
        let greeted = self.producers().greet(gateway.as_str(), hello.epoch, hello.oldest_sequence);
        let acknowledged_through = greeted.map_err(|known| IngestError::OldEpoch {
            gateway: gateway.to_string(),
            given: hello.epoch,
            known,
        })?;
        let welcome = Welcome {
            acknowledged_through,
            clock_ms: self.parts.clock.now_ms(),
            limits: Some(Limits {
                max_rows_per_batch: self.config.max_rows_per_batch,
                max_units_per_batch: self.config.max_units_per_batch,
                max_message_bytes: self.config.max_message_bytes,
                late_after_ms: self.late_after_ms() as u64,
                future_refused_after_ms: u64::from(self.config.future_refused_after_seconds) * 1_000,
            }),
        };
        Ok((Sender { gateway, epoch: hello.epoch, oldest_sequence: hello.oldest_sequence }, welcome))
    }

    /// Takes a batch in. Returns once what was accepted of it is on disk.
    pub async fn receive(
        self: &Arc<Self>,
        sender: &Sender,
        message: pb::Batch,
    ) -> Result<Receipt, IngestError> {
        // A task of its own: a gateway that hangs up does not undo what is on its way to disk, and until that is
        // settled the same batch must not be admitted again.
        let (receiver, sender) = (Arc::clone(self), sender.clone());
        let storing = tokio::spawn(async move { receiver.begin(&sender, message).await });
        storing.await.map_err(|_| IngestError::Stopping)?
    }

    /// Takes a batch in: a new one has its place in the journal when this returns, so that batches begun one after
    /// the other are read in that order. The future ends once it is on disk, and has to be driven to its end.
    pub(crate) fn begin<'a>(
        &'a self,
        sender: &'a Sender,
        message: pb::Batch,
    ) -> BoxFuture<'a, Result<Receipt, IngestError>> {
        let sequence = message.sequence;
        if sequence == 0 {
            let error = IngestError::Protocol("batch.sequence is 0; sequences start at 1");
            return Box::pin(std::future::ready(Err(error)));
        }
        let gateway = sender.gateway.as_str();
        // Registered before looking, so that a batch that settles in between is not missed.
        let settled = self.settled.notified();
        let admission = self.producers().admit(gateway, sender.epoch, sequence, self.config.max_gap);
        let known = match admission {
            Admission::New => return self.store(sender, message),
            Admission::InFlight => {
                return Box::pin(async move {
                    settled.await;
                    self.begin(sender, message).await
                });
            }
            Admission::Duplicate => {
                let acknowledged_through = self.producers().through(gateway);
                Ok(Receipt { sequence, acknowledged_through, duplicate: true, ..Receipt::default() })
            }
            Admission::OldEpoch(known) => {
                Err(IngestError::OldEpoch { gateway: gateway.to_owned(), given: sender.epoch, known })
            }
            Admission::Gap(through) => {
                Err(IngestError::Gap { sequence, through, max_gap: self.config.max_gap })
            }
        };
        Box::pin(std::future::ready(known))
    }

    fn store<'a>(
        &'a self,
        sender: &'a Sender,
        message: pb::Batch,
    ) -> BoxFuture<'a, Result<Receipt, IngestError>> {
        let sequence = message.sequence;
        let in_flight = InFlight { receiver: self, sender, sequence };
        let (record, mut receipt) = self.judge(sender, message);
        let appending = self.parts.journal.append(record.to_bytes());
        Box::pin(async move {
            let _in_flight = in_flight;
            if let Err(error) = appending.await {
                let error = IngestError::from(error);
                if error.is_final() {
                    tracing::error!(%error, "nothing can be made durable any more; the service stops");
                    self.parts.shutdown.cancel();
                }
                return Err(error);
            }
            receipt.acknowledged_through =
                self.producers().settled(sender.gateway.as_str(), sender.epoch, sequence);
            Ok(receipt)
        })
    }

    /// Checks a batch and makes the record of what can be stored.
    fn judge(&self, sender: &Sender, message: pb::Batch) -> (Record, Receipt) {
        let bounds = Bounds {
            max_rows: self.config.max_rows_per_batch as usize,
            max_units: self.config.max_units_per_batch as usize,
            max_events: self.config.max_events_per_batch as usize,
            oldest_ms: self.config.oldest_accepted_ms,
            newest_ms: self.parts.clock.ceiling_ms()
                + i64::from(self.config.future_refused_after_seconds) * 1_000,
        };
        let checked = check(&message, &bounds);
        let batch = &checked.batch;
        // Late against the clock as it stands when the batch comes: on a clock that follows data, the batch's own
        // newest reading does not make its oldest ones late.
        let late_before_ms = self.parts.clock.now_ms() - self.late_after_ms();
        let newest = batch.times.iter().chain(batch.events.iter().map(|e| &e.time)).max();
        let received_ms =
            newest.map_or_else(|| self.parts.clock.now_ms(), |time| self.parts.clock.observe(*time));
        let receipt = Receipt {
            sequence: message.sequence,
            accepted_rows: batch.rows() as u32,
            accepted_events: batch.events.len() as u32,
            late_rows: batch.times.iter().filter(|time| **time < late_before_ms).count() as u32,
            refusals: checked.refusals,
            ..Receipt::default()
        };
        let stored = if receipt.refusals.is_empty() { message } else { write(batch, message.sequence) };
        let readings = Readings {
            gateway: sender.gateway.to_string(),
            epoch: sender.epoch,
            sequence: receipt.sequence,
            late_before_ms,
            batch: rimeline_wire::encode(&stored),
            oldest_sequence: sender.oldest_sequence,
        };
        (Record { received_ms, body: Some(Body::Readings(readings)) }, receipt)
    }

    pub(crate) fn journal_start(&self) -> Position {
        self.parts.journal.start()
    }

    /// Writes down what has been received, then lets go of the journal before `consumed`.
    pub(crate) async fn trim(&self, consumed: Position) -> Result<(), IngestError> {
        let snapshot = self.producers().snapshot();
        let record = Record { received_ms: self.parts.clock.now_ms(), body: Some(Body::Producers(snapshot)) };
        self.parts.journal.append(record.to_bytes()).await?;
        Ok(self.parts.journal.trim(consumed)?)
    }

    fn late_after_ms(&self) -> i64 {
        i64::from(self.config.late_after_hours) * HOUR_MS
    }

    fn producers(&self) -> MutexGuard<'_, Producers> {
        // Every change of the table is complete before anything can panic.
        self.producers.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Frees a sequence again when its batch did not become durable.
struct InFlight<'a> {
    receiver: &'a Receiver,
    sender: &'a Sender,
    sequence: u64,
}

impl Drop for InFlight<'_> {
    fn drop(&mut self) {
        self.receiver.producers().dropped(self.sender.gateway.as_str(), self.sender.epoch, self.sequence);
        self.receiver.settled.notify_waiters();
    }
}
