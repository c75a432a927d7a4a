use std::time::Duration;

use rimeline_channels::Id;
use rimeline_wire::cases::{self, ask, refused};
use rimeline_wire::pb;
use rimeline_wire::pb::registry_service_server::{RegistryService, RegistryServiceServer};
use rimeline_wire::record::{Body, Record};
use tonic::{Request, Response, Status};

use crate::{DeskConfig, Parts};

/// The role whose progress makes a description visible.
const READER: &str = "assess";
const LOOK_EVERY: Duration = Duration::from_millis(10);

/// The registry over gRPC. Changes go through the journal, so that they take effect at one place in the order of
/// readings; what is read is what has taken effect.
pub struct RegistryGrpc {
    parts: Parts,
    settle: Duration,
}

impl RegistryGrpc {
    /// A tonic service.
    pub fn service(config: &DeskConfig, parts: Parts) -> RegistryServiceServer<Self> {
        let settle = Duration::from_secs(u64::from(config.settle_seconds));
        RegistryServiceServer::new(Self { parts, settle })
    }

    /// Writes a change down and waits until readers see it, or, where they lag, until the wait is over: the change
    /// is durable either way.
    async fn change(&self, body: Body) -> Result<(), Status> {
        let record = Record { received_ms: self.parts.clock.now_ms(), body: Some(body) };
        let appended = self.parts.journal.append(record.to_bytes()).await;
        let position = appended.map_err(|error| Status::unavailable(error.to_string()))?.get();
        let visible = async {
            while ask(&self.parts.casebook, |book| book.position(READER)).await? < position {
                tokio::time::sleep(LOOK_EVERY).await;
            }
            Ok(())
        };
        tokio::time::timeout(self.settle, visible).await.unwrap_or(Ok(()))
    }
}

#[tonic::async_trait]
impl RegistryService for RegistryGrpc {
    async fn describe_unit(
        &self,
        request: Request<pb::DescribeUnitRequest>,
    ) -> Result<Response<pb::DescribeUnitResponse>, Status> {
        let unit = request.into_inner().unit.ok_or_else(|| Status::invalid_argument("unit: missing"))?;
        cases::description(&unit).map_err(|error| refused(&error))?;
        self.change(Body::Unit(unit)).await?;
        Ok(Response::new(pb::DescribeUnitResponse {}))
    }

    async fn list_units(
        &self,
        request: Request<pb::ListUnitsRequest>,
    ) -> Result<Response<pb::ListUnitsResponse>, Status> {
        let depot = request.into_inner().depot;
        let units =
            ask(&self.parts.casebook, move |book| book.units((!depot.is_empty()).then_some(depot.as_str())));
        let units = units.await?.iter().map(cases::unit_summary).collect();
        Ok(Response::new(pb::ListUnitsResponse { units }))
    }

    async fn put_load(
        &self,
        request: Request<pb::PutLoadRequest>,
    ) -> Result<Response<pb::PutLoadResponse>, Status> {
        let load = request.into_inner().load.ok_or_else(|| Status::invalid_argument("load: missing"))?;
        cases::load(&load).map_err(|error| refused(&error))?;
        self.change(Body::Load(load)).await?;
        Ok(Response::new(pb::PutLoadResponse {}))
    }

    async fn list_loads(
        &self,
        request: Request<pb::ListLoadsRequest>,
    ) -> Result<Response<pb::ListLoadsResponse>, Status> {
        let unit = request.into_inner().unit;
        let unit = match unit.as_str() {
            "" => None,
            unit => Some(Id::new(unit).map_err(|error| Status::invalid_argument(format!("unit: {error}")))?),
        };
        let loads = ask(&self.parts.casebook, move |book| book.loads(unit.as_ref())).await?;
        Ok(Response::new(pb::ListLoadsResponse { loads: loads.iter().map(cases::load_out).collect() }))
    }

    async fn list_channels(
        &self,
        _request: Request<pb::ListChannelsRequest>,
    ) -> Result<Response<pb::ListChannelsResponse>, Status> {
        Ok(Response::new(pb::ListChannelsResponse { channels: cases::channel_infos() }))
    }
}
