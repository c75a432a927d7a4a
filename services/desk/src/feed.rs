use std::time::Duration;

use rimeline_casebook::{CaseFilter, Changes, Cursor};
use rimeline_wire::cases::{self, ask, refused};
use rimeline_wire::pb;
use rimeline_wire::pb::feed_service_server::{FeedService, FeedServiceServer};
use rimeline_wire::pb::follow_cases_response::Item;
use tokio::sync::mpsc;
use tokio::time::Instant;
use tokio_stream::wrappers::ReceiverStream;
use tonic::{Request, Response, Status};

use crate::{DeskConfig, Parts};

/// Changes read from the casebook at a time.
const PAGE: usize = 256;
/// Messages that may wait for a slow follower.
const WAITING: usize = 64;
/// How often a follower looks for changes that nobody announced.
const LOOK_EVERY: Duration = Duration::from_secs(1);

/// The feed over gRPC.
pub struct FeedGrpc {
    parts: Parts,
    heartbeat: Duration,
}

impl FeedGrpc {
    /// A tonic service.
    pub fn service(config: &DeskConfig, parts: Parts) -> FeedServiceServer<Self> {
        let heartbeat = Duration::from_secs(u64::from(config.heartbeat_seconds));
        FeedServiceServer::new(Self { parts, heartbeat })
    }
}

#[tonic::async_trait]
impl FeedService for FeedGrpc {
    type FollowCasesStream = ReceiverStream<Result<pb::FollowCasesResponse, Status>>;

    async fn follow_cases(
        &self,
        request: Request<pb::FollowCasesRequest>,
    ) -> Result<Response<Self::FollowCasesStream>, Status> {
        let request = request.into_inner();
        // A follower learns of shelved cases too: nothing is sent when a shelving ends by itself.
        let mut filter = cases::filter(request.filter).map_err(|error| refused(&error))?;
        filter.include_shelved = true;
        let (out, stream) = mpsc::channel(WAITING);
        let follower = Follower { parts: self.parts.clone(), filter, heartbeat: self.heartbeat, out };
        let cursor = request.cursor.map(cases::cursor);
        tokio::spawn(async move {
            let shutdown = follower.parts.shutdown.clone();
            let out = follower.out.clone();
            if let Some(Err(Stop::Failed(status))) = shutdown.run_until_cancelled(follower.run(cursor)).await
            {
                // A follower that is gone does not need to hear why.
                let _ = out.send(Err(status)).await;
            }
        });
        Ok(Response::new(ReceiverStream::new(stream)))
    }

    async fn list_cases(
        &self,
        request: Request<pb::ListCasesRequest>,
    ) -> Result<Response<pb::ListCasesResponse>, Status> {
        let filter = cases::filter(request.into_inner().filter).map_err(|error| refused(&error))?;
        let clock_ms = self.parts.clock.now_ms();
        let snapshot = ask(&self.parts.casebook, move |book| book.cases(&filter, clock_ms)).await?;
        Ok(Response::new(pb::ListCasesResponse {
            cases: snapshot.cases.iter().map(cases::case).collect(),
            cursor: Some(cases::cursor_out(snapshot.cursor)),
            clock_ms,
        }))
    }

    async fn get_case(
        &self,
        request: Request<pb::GetCaseRequest>,
    ) -> Result<Response<pb::GetCaseResponse>, Status> {
        let id = request.into_inner().case_id;
        let file = ask(&self.parts.casebook, move |book| book.case(&id)).await?;
        Ok(Response::new(pb::GetCaseResponse {
            case: Some(cases::case(&file.case)),
            actions: file.actions.iter().map(cases::action_out).collect(),
        }))
    }

    async fn record_action(
        &self,
        request: Request<pb::RecordActionRequest>,
    ) -> Result<Response<pb::RecordActionResponse>, Status> {
        let pb::RecordActionRequest { case_id, action } = request.into_inner();
        let action = action.ok_or_else(|| Status::invalid_argument("action: missing"))?;
        let now = self.parts.clock.now_ms();
        let action = cases::action(&action, now).map_err(|error| refused(&error))?;
        let recorded =
            ask(&self.parts.casebook, move |book| book.record_action(&case_id, &action, now)).await?;
        self.parts.changed.send_replace(());
        Ok(Response::new(pb::RecordActionResponse { case: Some(cases::case(recorded.case())) }))
    }
}

/// One stream of the feed.
struct Follower {
    parts: Parts,
    filter: CaseFilter,
    heartbeat: Duration,
    out: mpsc::Sender<Result<pb::FollowCasesResponse, Status>>,
}

/// Why a follower's stream ends.
enum Stop {
    Gone,
    Failed(Status),
}

impl From<Status> for Stop {
    fn from(status: Status) -> Self {
        Self::Failed(status)
    }
}

impl Follower {
    async fn run(&self, cursor: Option<Cursor>) -> Result<(), Stop> {
        let mut changed = self.parts.changed.subscribe();
        let mut at = match cursor {
            Some(cursor) => cursor,
            None => self.snapshot(false).await?,
        };
        let mut heard = Instant::now();
        loop {
            changed.mark_unchanged();
            let page = ask(&self.parts.casebook, move |book| book.changes_after(at, PAGE)).await?;
            match page {
                Changes::OutOfRange => {
                    at = self.snapshot(true).await?;
                    heard = Instant::now();
                    continue;
                }
                Changes::Page(changes) if !changes.is_empty() => {
                    for change in &changes {
                        at = change.cursor;
                        if self.filter.concerns(&change.case) {
                            self.send(Item::Changed(cases::change(change))).await?;
                            heard = Instant::now();
                        }
                    }
                    continue;
                }
                Changes::Page(_) => {}
            }
            let due = heard + self.heartbeat;
            if Instant::now() >= due {
                let beat = pb::Heartbeat {
                    cursor: Some(cases::cursor_out(at)),
                    clock_ms: self.parts.clock.now_ms(),
                };
                self.send(Item::Heartbeat(beat)).await?;
                heard = Instant::now();
            }
            let wake = (Instant::now() + LOOK_EVERY).min(heard + self.heartbeat);
            tokio::select! {
                _ = changed.changed() => {}
                () = tokio::time::sleep_until(wake) => {}
                () = self.out.closed() => return Err(Stop::Gone),
            }
        }
    }

    async fn snapshot(&self, cursor_out_of_range: bool) -> Result<Cursor, Stop> {
        let (filter, now) = (self.filter.clone(), self.parts.clock.now_ms());
        let snapshot = ask(&self.parts.casebook, move |book| book.cases(&filter, now)).await?;
        self.send(Item::SnapshotStart(pb::SnapshotStart { cursor_out_of_range })).await?;
        for case in &snapshot.cases {
            self.send(Item::Changed(pb::CaseChanged { cursor: None, case: Some(cases::case(case)) })).await?;
        }
        let end = pb::SnapshotEnd { cursor: Some(cases::cursor_out(snapshot.cursor)) };
        self.send(Item::SnapshotEnd(end)).await?;
        Ok(snapshot.cursor)
    }

    async fn send(&self, item: Item) -> Result<(), Stop> {
        self.out.send(Ok(pb::FollowCasesResponse { item: Some(item) })).await.map_err(|_| Stop::Gone)
    }
}
