use std::pin::Pin;
use std::sync::Arc;

use futures::{Stream, StreamExt, stream};
use rimeline_wire::pb::ingest_service_server::{IngestService, IngestServiceServer};
use rimeline_wire::pb::stream_readings_request::Item as In;
use rimeline_wire::pb::stream_readings_response::Item as Out;
use rimeline_wire::pb::{
    SendReadingsRequest, SendReadingsResponse, StreamReadingsRequest, StreamReadingsResponse,
};
use tonic::codec::CompressionEncoding;
use tonic::{Request, Response, Status, Streaming};

use crate::{IngestError, Receiver, Sender};

/// The ingest role over gRPC.
pub struct IngestGrpc(Arc<Receiver>);

impl IngestGrpc {
    /// A tonic service with the limits of the receiver.
    pub fn service(receiver: Arc<Receiver>) -> IngestServiceServer<Self> {
        let max = receiver.config().max_message_bytes as usize;
        IngestServiceServer::new(Self(receiver))
            .max_decoding_message_size(max)
            .accept_compressed(CompressionEncoding::Gzip)
            .accept_compressed(CompressionEncoding::Zstd)
    }
}

type Receipts = Pin<Box<dyn Stream<Item = Result<StreamReadingsResponse, Status>> + Send>>;

#[tonic::async_trait]
impl IngestService for IngestGrpc {
    type StreamReadingsStream = Receipts;

    async fn stream_readings(
        &self,
        request: Request<Streaming<StreamReadingsRequest>>,
    ) -> Result<Response<Receipts>, Status> {
        let mut incoming = request.into_inner();
        let first = incoming.message().await?.and_then(|message| message.item);
        let Some(In::Hello(hello)) = first else {
            return Err(IngestError::Protocol("a stream begins with a hello").into());
        };
        let (sender, welcome) = self.0.greet(&hello)?;
        let window = self.0.config().window as usize;
        let stop = self.0.shutdown().clone().cancelled_owned();
        let receiver = Arc::clone(&self.0);
        // Batches in the order they came, several on their way to disk at once, receipts in the same order.
        let receipts = incoming
            .take_until(stop)
            .map(move |message| receive(Arc::clone(&receiver), sender.clone(), message))
            .buffered(window);
        let welcome = StreamReadingsResponse {
            item: Some(Out::Welcome(welcome)),
        };
        Ok(Response::new(Box::pin(
            stream::iter([Ok(welcome)]).chain(receipts),
        )))
    }

    async fn send_readings(
        &self,
        request: Request<SendReadingsRequest>,
    ) -> Result<Response<SendReadingsResponse>, Status> {
        let SendReadingsRequest { hello, batch } = request.into_inner();
        let (Some(hello), Some(batch)) = (hello, batch) else {
            return Err(IngestError::Protocol("both hello and batch are needed").into());
        };
        let (sender, _) = self.0.greet(&hello)?;
        let receipt = self.0.receive(&sender, batch).await?;
        Ok(Response::new(SendReadingsResponse {
            receipt: Some(receipt),
        }))
    }
}

async fn receive(
    receiver: Arc<Receiver>,
    sender: Sender,
    message: Result<StreamReadingsRequest, Status>,
) -> Result<StreamReadingsResponse, Status> {
    match message?.item {
        Some(In::Batch(batch)) => {
            let receipt = receiver.receive(&sender, batch).await?;
            Ok(StreamReadingsResponse {
                item: Some(Out::Receipt(receipt)),
            })
        }
        Some(In::Hello(_)) => Err(IngestError::Protocol("a stream has one hello, at its beginning").into()),
        None => Err(IngestError::Protocol("a message with neither hello nor batch").into()),
    }
}
