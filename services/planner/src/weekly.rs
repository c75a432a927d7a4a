use rimeline_channels::DAY_MS;
use rimeline_wire::cases::{self, ask};
use rimeline_wire::pb;
use rimeline_wire::pb::weekly_service_server::{WeeklyService, WeeklyServiceServer};
use tonic::{Request, Response, Status};

use crate::Parts;

/// The weekly list over gRPC.
pub struct WeeklyGrpc(Parts);

impl WeeklyGrpc {
    /// A tonic service.
    pub fn service(parts: Parts) -> WeeklyServiceServer<Self> {
        WeeklyServiceServer::new(Self(parts))
    }
}

#[tonic::async_trait]
impl WeeklyService for WeeklyGrpc {
    async fn get_weekly_list(
        &self,
        request: Request<pb::GetWeeklyListRequest>,
    ) -> Result<Response<pb::GetWeeklyListResponse>, Status> {
        let pb::GetWeeklyListRequest { until_ms, depot } = request.into_inner();
        let until = if until_ms == 0 { self.0.clock.now_ms() } else { until_ms };
        let from = until.saturating_sub(7 * DAY_MS);
        let week = ask(&self.0.casebook, move |book| {
            book.week(from, until, (!depot.is_empty()).then_some(depot.as_str()))
        });
        Ok(Response::new(cases::weekly_list(&week.await?.list())))
    }
}
