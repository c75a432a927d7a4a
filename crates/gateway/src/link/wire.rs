//! The two calls of the ingest service.
//!
//! Batches are kept as the bytes of a `Batch`. On the wire a message field and a bytes field are the same thing, so they
//! go out as they are, without being read and written again.

use std::time::Duration;

use bytes::Bytes;
use futures::Stream;
use rimeline_wire::pb;
use tonic::client::Grpc;
use tonic::codec::CompressionEncoding;
use tonic::codegen::http::uri::PathAndQuery;
use tonic::transport::{Channel, Endpoint};
use tonic::{Request, Status, Streaming};
use tonic_prost::ProstCodec;

use crate::{Compression, Config, GatewayError};

/// The most that stands around a batch in its message.
pub(crate) const AROUND_BATCH: usize = 16;

/// A `StreamReadingsRequest` whose batch is bytes.
#[derive(Clone, PartialEq, prost::Message)]
pub(crate) struct Outgoing {
    #[prost(oneof = "Item", tags = "1, 2")]
    pub item: Option<Item>,
}

#[derive(Clone, PartialEq, prost::Oneof)]
pub(crate) enum Item {
    #[prost(message, tag = "1")]
    Hello(pb::Hello),
    #[prost(bytes = "bytes", tag = "2")]
    Batch(Bytes),
}

/// A `SendReadingsRequest` whose batch is bytes.
#[derive(Clone, PartialEq, prost::Message)]
pub(crate) struct Once {
    #[prost(message, optional, tag = "1")]
    pub hello: Option<pb::Hello>,
    #[prost(bytes = "bytes", tag = "2")]
    pub batch: Bytes,
}

impl From<Item> for Outgoing {
    fn from(item: Item) -> Self {
        Self { item: Some(item) }
    }
}

/// A channel that connects when it is used, and again when it has to. Dead peers are noticed within half a minute.
pub(crate) fn channel(endpoint: &str) -> Result<Channel, GatewayError> {
    let endpoint = Endpoint::from_shared(endpoint.to_owned()).map_err(|error| {
        let problem = format!("`{endpoint}` is no address ({error}); one looks like http://127.0.0.1:7420");
        GatewayError::config("endpoint", problem)
    })?;
    let endpoint = endpoint
        .connect_timeout(Duration::from_secs(10))
        .tcp_nodelay(true)
        .http2_keep_alive_interval(Duration::from_secs(20))
        .keep_alive_timeout(Duration::from_secs(10))
        .keep_alive_while_idle(true);
    Ok(endpoint.connect_lazy())
}

pub(crate) async fn stream(
    channel: &Channel,
    config: &Config,
    requests: impl Stream<Item = Outgoing> + Send + 'static,
) -> Result<Streaming<pb::StreamReadingsResponse>, Status> {
    let mut grpc = ready(channel, config).await?;
    let path = PathAndQuery::from_static("/rimeline.v1.IngestService/StreamReadings");
    let codec = ProstCodec::<Outgoing, pb::StreamReadingsResponse>::default();
    let answer = grpc.streaming(Request::new(requests), path, codec).await?;
    Ok(answer.into_inner())
}

pub(crate) async fn once(
    channel: &Channel,
    config: &Config,
    request: Once,
) -> Result<pb::SendReadingsResponse, Status> {
    let mut grpc = ready(channel, config).await?;
    let path = PathAndQuery::from_static("/rimeline.v1.IngestService/SendReadings");
    let codec = ProstCodec::<Once, pb::SendReadingsResponse>::default();
    let answer = grpc.unary(Request::new(request), path, codec).await?;
    Ok(answer.into_inner())
}

async fn ready(channel: &Channel, config: &Config) -> Result<Grpc<Channel>, Status> {
    let encoding = match config.compression {
        Compression::None => None,
        Compression::Gzip => Some(CompressionEncoding::Gzip),
        Compression::Zstd => Some(CompressionEncoding::Zstd),
    };
    let grpc = Grpc::new(channel.clone());
    let mut grpc = match encoding {
        Some(encoding) => grpc.send_compressed(encoding).accept_compressed(encoding),
        None => grpc,
    };
    let ready = grpc.ready().await;
    ready.map_err(|error| Status::from_error(error.into()))?;
    Ok(grpc)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use pb::stream_readings_request::Item as Read;
    use prost::Message;

    use super::*;

    /// What our short forms put on the wire is what the contract's own types read.
    #[test]
    fn the_contract_reads_what_goes_out() {
        let batch = pb::Batch { sequence: 7, units: vec!["A".into()], ..pb::Batch::default() };
        let hello = pb::Hello { gateway: "G".into(), epoch: 3, oldest_sequence: 5, clock_ms: 9 };
        let read = |item: Item| {
            let bytes = Outgoing::from(item).encode_to_vec();
            pb::StreamReadingsRequest::decode(&*bytes).unwrap().item
        };
        assert_eq!(read(Item::Hello(hello.clone())), Some(Read::Hello(hello.clone())));
        let bytes = Bytes::from(batch.encode_to_vec());
        assert_eq!(read(Item::Batch(bytes.clone())), Some(Read::Batch(batch.clone())));
        let once = Once { hello: Some(hello.clone()), batch: bytes };
        let once = pb::SendReadingsRequest::decode(&*once.encode_to_vec()).unwrap();
        assert_eq!((once.hello, once.batch), (Some(hello), Some(batch)));
    }
}
