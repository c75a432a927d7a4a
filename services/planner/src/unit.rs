use std::pin::Pin;
use std::sync::Arc;

use futures::{Stream, stream};
use rimeline_casebook::CaseFilter;
use rimeline_channels::{Channel, Id};
use rimeline_history::{History, HistoryError};
use rimeline_wire::cases::{self, ask};
use rimeline_wire::pb;
use rimeline_wire::pb::unit_service_server::{UnitService, UnitServiceServer};
use tonic::{Request, Response, Status};

use crate::Parts;

/// Points of one channel in one message of a history.
const POINTS: usize = 20_000;

/// One unit over gRPC.
pub struct UnitGrpc(Parts);

impl UnitGrpc {
    /// A tonic service.
    pub fn service(parts: Parts) -> UnitServiceServer<Self> {
        UnitServiceServer::new(Self(parts))
    }
}

type Columns = Pin<Box<dyn Stream<Item = Result<pb::GetHistoryResponse, Status>> + Send>>;

#[tonic::async_trait]
impl UnitService for UnitGrpc {
    type GetHistoryStream = Columns;

    async fn get_unit(
        &self,
        request: Request<pb::GetUnitRequest>,
    ) -> Result<Response<pb::GetUnitResponse>, Status> {
        let id = unit_id(&request.into_inner().unit)?;
        let now = self.0.clock.now_ms();
        let response = ask(&self.0.casebook, move |book| {
            let Some(record) = book.unit(&id)? else {
                return Ok(None);
            };
            let filter = CaseFilter {
                units: vec![id.clone()],
                include_closed: true,
                include_shelved: true,
                ..CaseFilter::default()
            };
            Ok(Some(pb::GetUnitResponse {
                unit: Some(cases::unit_summary(&record.summary)),
                last_values: record.last_values.iter().map(cases::last_value).collect(),
                last_state: Some(cases::state(&record.last_state)),
                cases: book.cases(&filter, now)?.cases.iter().map(cases::case).collect(),
                judgements: book.judgements(&id)?.iter().map(cases::judgement).collect(),
                marks: book.marks(&id)?.iter().map(cases::mark).collect(),
                load: book.load_at(&id, now)?.as_ref().map(cases::load_out),
            }))
        });
        let unknown = || Status::not_found("no such unit: nobody described it and it never reported");
        Ok(Response::new(response.await?.ok_or_else(unknown)?))
    }

    async fn get_history(
        &self,
        request: Request<pb::GetHistoryRequest>,
    ) -> Result<Response<Columns>, Status> {
        let request = request.into_inner();
        let unit = unit_id(&request.unit)?;
        if request.from_ms >= request.until_ms {
            return Err(Status::invalid_argument("until_ms: must be after from_ms"));
        }
        let channel = |number: &i32| {
            Channel::from_number(*number)
                .ok_or_else(|| Status::invalid_argument(format!("channels: {number} is no channel")))
        };
        let channels: Vec<Channel> = request.channels.iter().map(channel).collect::<Result<_, _>>()?;
        let archive = Arc::clone(&self.0.archive);
        let series = tokio::task::spawn_blocking(move || {
            let history = History::of_archive(archive);
            let readings = history.readings(&unit, request.from_ms, request.until_ms, &channels)?;
            Ok(readings.downsample(request.max_points as usize))
        });
        let series = series
            .await
            .map_err(|_| Status::unavailable("the server is stopping; ask again"))?
            .map_err(|error: HistoryError| Status::internal(error.to_string()))?;
        let mut messages = Vec::new();
        for one in series {
            for (times, values) in one.times.chunks(POINTS).zip(one.values.chunks(POINTS)) {
                let part = pb::HistoryColumn {
                    channel: one.channel.number(),
                    times_ms: times.to_vec(),
                    values: values.to_vec(),
                };
                messages.push(Ok(pb::GetHistoryResponse { columns: vec![part] }));
            }
        }
        Ok(Response::new(Box::pin(stream::iter(messages))))
    }
}

fn unit_id(text: &str) -> Result<Id, Status> {
    Id::new(text).map_err(|error| Status::invalid_argument(format!("unit: {error}")))
}
