//! One stream, from Hello to its end.

use std::collections::VecDeque;
use std::sync::atomic::Ordering;
use std::time::Duration;

use futures::StreamExt;
use rimeline_wire::pb::{self, stream_readings_response::Item as Answer};
use tokio::sync::mpsc;
use tokio::time::{Instant, timeout};
use tokio_stream::wrappers::ReceiverStream;
use tonic::{Status, Streaming};

use super::Shared;
use super::ledger::Ledger;
use super::wire::{self, Item, Outgoing};
use crate::GatewayError;
use crate::keep::{Kept, Reader};
use crate::progress::{ClockOffset, Notice, RefusalReason, RefusedItem};
use crate::split::Body;

/// How long a server may take to end a stream that is done.
const PARTING: Duration = Duration::from_secs(5);

/// How a session ended.
pub(super) enum End {
    /// Everything was acknowledged, and nothing more will come.
    Finished,
    /// The oldest batches were dropped meanwhile: the server must be told by a new Hello.
    Gap,
    /// The connection or the server failed.
    Failed(Status),
    /// Nothing can cure this.
    Final(GatewayError),
}

impl From<Status> for End {
    fn from(status: Status) -> Self {
        Self::Failed(status)
    }
}

impl From<GatewayError> for End {
    fn from(error: GatewayError) -> Self {
        Self::Final(error)
    }
}

pub(super) struct Session<'a> {
    pub shared: &'a Shared,
    pub reader: &'a mut Reader,
    pub ledger: &'a mut Ledger,
    /// Set once a batch was acknowledged.
    pub progressed: &'a mut bool,
}

/// An open stream.
struct Stream {
    outgoing: mpsc::Sender<Outgoing>,
    answers: Streaming<pb::StreamReadingsResponse>,
    /// The last sequence sent on this stream, or passed over.
    sent: u64,
    /// The last sequence this stream's answers cover.
    held: u64,
    /// Read from the spool, not sent yet.
    ready: VecDeque<Kept>,
    /// What should be sent next was dropped: once the rest is answered, a new Hello must say so.
    gap: bool,
    /// The server must have answered by then, if anything is under way.
    deadline: Instant,
    message_bytes: usize,
}

impl Session<'_> {
    pub(super) async fn run(mut self) -> End {
        let ended = self.live().await;
        self.shared.progress.send_modify(|progress| progress.connected = false);
        match ended {
            Ok(()) => End::Finished,
            Err(end) => end,
        }
    }

    async fn live(&mut self) -> Result<(), End> {
        let mut stream = self.open().await?;
        loop {
            self.fill(&mut stream).await?;
            let closing = self.shared.closing.load(Ordering::Acquire);
            if closing && self.ledger.settled() >= self.shared.keep.last() && stream.sent <= stream.held {
                self.part(stream).await;
                return Ok(());
            }
            let waits = stream.sent > stream.held;
            if stream.gap && !waits {
                return Err(End::Gap);
            }
            tokio::select! {
                answer = stream.answers.next() => self.answer(&mut stream, answer).await?,
                () = self.shared.wake.notified() => {}
                () = tokio::time::sleep_until(stream.deadline), if waits => return Err(silent().into()),
            }
        }
    }

    /// Hello and Welcome.
    async fn open(&mut self) -> Result<Stream, End> {
        let Shared { config, channel, clock, .. } = self.shared;
        let oldest = self.shared.keep.oldest();
        let (outgoing, batches) = mpsc::channel(config.window);
        let (said, heard) = tokio::sync::oneshot::channel();
        let mut hello = pb::Hello {
            gateway: config.gateway.to_string(),
            epoch: self.shared.epoch,
            oldest_sequence: oldest,
            clock_ms: 0,
        };
        // The clock is read when the connection takes the Hello, not when it was asked for.
        let wall = (!clock.follows_data()).then(|| std::sync::Arc::clone(clock));
        let hello = async move {
            hello.clock_ms = wall.map_or(0, |clock| clock.now_ms());
            let _ = said.send((Instant::now(), hello.clock_ms));
            Outgoing::from(Item::Hello(hello))
        };
        let requests = futures::stream::once(hello).chain(ReceiverStream::new(batches));
        let opening = async {
            let mut answers = wire::stream(channel, config, requests).await?;
            let first =
                answers.next().await.unwrap_or_else(|| Err(Status::unavailable("the stream ended")))?;
            Ok::<_, Status>((answers, first))
        };
        let opened = timeout(config.answer_within, opening).await;
        let (answers, first) = opened.unwrap_or_else(|_| Err(silent()))?;
        let Some(Answer::Welcome(welcome)) = first.item else {
            return Err(Status::internal("the stream did not begin with a Welcome").into());
        };
        let held = self.ledger.welcome(self.shared, welcome.acknowledged_through, oldest)?;
        self.reader.release(held).await?;
        let clock = heard.await.ok().and_then(|(at, ms)| offset(at, ms, welcome.clock_ms));
        let acknowledged_through = welcome.acknowledged_through;
        self.shared.progress.send_modify(|progress| {
            progress.limits = welcome.limits;
            progress.clock = clock;
            progress.connected = true;
            progress.trouble = None;
        });
        (self.shared.observer)(Notice::Connected { acknowledged_through, clock });
        let message_bytes = welcome.limits.map_or(0, |limits| limits.max_message_bytes);
        Ok(Stream {
            outgoing,
            answers,
            sent: held,
            held,
            ready: VecDeque::new(),
            gap: false,
            deadline: Instant::now() + config.answer_within,
            message_bytes: if message_bytes == 0 { usize::MAX } else { message_bytes as usize },
        })
    }

    /// Sends while the window has room.
    async fn fill(&mut self, stream: &mut Stream) -> Result<(), End> {
        let window = self.shared.config.window;
        while !stream.gap {
            let under_way = (stream.sent - stream.held) as usize;
            if under_way >= window {
                return Ok(());
            }
            if stream.ready.is_empty() {
                if stream.sent >= self.shared.keep.last() {
                    return Ok(());
                }
                stream.ready = self.reader.fetch(stream.sent + 1, window).await?.into();
            }
            let Some(kept) = stream.ready.pop_front() else {
                return Ok(());
            };
            if kept.sequence != stream.sent + 1 {
                stream.gap = true;
                return Ok(());
            }
            let sequence = kept.sequence;
            let first = self.ledger.sent(sequence);
            self.shared.progress.send_modify(|progress| progress.totals.sent += u64::from(first));
            let batch = self.small_enough(kept, stream.message_bytes, first);
            // The channel holds a window: room is only missing where the connection is slow, the end is told by answers.
            if stream.outgoing.send(Item::Batch(batch).into()).await.is_err() {
                return Ok(());
            }
            if under_way == 0 {
                stream.deadline = Instant::now() + self.shared.config.answer_within;
            }
            stream.sent = sequence;
        }
        Ok(())
    }

    /// A batch as it is, or, where this server would break off the stream over its size, an empty one in its place:
    /// one batch must not keep all that follow from being sent.
    fn small_enough(&self, kept: Kept, limit: usize, first: bool) -> bytes::Bytes {
        let bytes = kept.batch.len() + wire::AROUND_BATCH;
        if bytes <= limit {
            return kept.batch;
        }
        let sequence = kept.sequence;
        tracing::error!(sequence, bytes, limit, "a batch is too large for this server and is not sent");
        let refusal = pb::Refusal {
            item: RefusedItem::Batch.into(),
            count: 1,
            reason: RefusalReason::TooLarge.into(),
            field: "batch".into(),
            message: format!("{bytes} bytes are over this server's {limit}; lower batch.bytes"),
            ..pb::Refusal::default()
        };
        let receipt = pb::Receipt { sequence, refusals: vec![refusal], ..pb::Receipt::default() };
        if first {
            self.shared.progress.send_modify(|progress| progress.totals.add(&receipt));
            (self.shared.observer)(Notice::Receipt(receipt));
        }
        Body::default().bytes(sequence)
    }

    /// Ends a stream that has done its work, and hears what the server still has to say: an acknowledgement may come
    /// ahead of some receipts.
    async fn part(&mut self, mut stream: Stream) {
        let (closed, _) = mpsc::channel(1);
        stream.outgoing = closed;
        let rest = async {
            while let Some(answer) = stream.answers.next().await {
                if self.answer(&mut stream, Some(answer)).await.is_err() {
                    return;
                }
            }
        };
        // Everything is on the server's disk: nothing that goes wrong here matters.
        let _ = timeout(PARTING, rest).await;
    }

    async fn answer(
        &mut self,
        stream: &mut Stream,
        answer: Option<Result<pb::StreamReadingsResponse, Status>>,
    ) -> Result<(), End> {
        let answer = answer.unwrap_or_else(|| Err(Status::unavailable("the server ended the stream")))?;
        let Some(Answer::Receipt(receipt)) = answer.item else {
            return Ok(());
        };
        let held = receipt.acknowledged_through;
        *self.progressed |= self.ledger.acknowledge(self.shared, held)?;
        stream.held = stream.held.max(held.min(stream.sent));
        stream.deadline = Instant::now() + self.shared.config.answer_within;
        self.shared.progress.send_modify(|progress| progress.totals.add(&receipt));
        (self.shared.observer)(Notice::Receipt(receipt));
        self.reader.release(held).await?;
        Ok(())
    }
}

fn silent() -> Status {
    Status::deadline_exceeded("the server did not answer in time")
}

/// The server read its clock somewhere between our Hello and its Welcome.
fn offset(said: Instant, said_ms: i64, server_ms: i64) -> Option<ClockOffset> {
    if said_ms == 0 || server_ms == 0 {
        return None;
    }
    let round_trip = said.elapsed().as_millis() as i64;
    let half = round_trip / 2;
    Some(ClockOffset { offset_ms: server_ms - (said_ms + half), uncertainty_ms: round_trip - half })
}
