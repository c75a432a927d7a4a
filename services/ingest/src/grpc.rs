use std::sync::Arc;

use futures::StreamExt;
use futures::stream::FuturesOrdered;
use rimeline_journal::BoxFuture;
use rimeline_wire::pb::ingest_service_server::{IngestService, IngestServiceServer};
use rimeline_wire::pb::stream_readings_request::Item as In;
use rimeline_wire::pb::stream_readings_response::Item as Out;
use rimeline_wire::pb::{
    Batch, Receipt, SendReadingsRequest, SendReadingsResponse, StreamReadingsRequest, StreamReadingsResponse,
};
use tokio::sync::mpsc;
use tokio_stream::wrappers::ReceiverStream;
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

type Receipts = ReceiverStream<Result<StreamReadingsResponse, Status>>;

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
        let (out, receipts) = mpsc::channel(self.0.config().window as usize);
        let welcome = StreamReadingsResponse { item: Some(Out::Welcome(welcome)) };
        // The channel was made for it: there is room.
        let _ = out.send(Ok(welcome)).await;
        tokio::spawn(take_batches(Arc::clone(&self.0), sender, incoming, out));
        Ok(Response::new(ReceiverStream::new(receipts)))
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
        Ok(Response::new(SendReadingsResponse { receipt: Some(receipt) }))
    }
}

/// Takes the batches of one stream in their order, several on their way to disk at once, and answers in the same
/// order. What has been begun is finished, also when the gateway has hung up.
async fn take_batches(
    receiver: Arc<Receiver>,
    sender: Sender,
    mut incoming: Streaming<StreamReadingsRequest>,
    out: mpsc::Sender<Result<StreamReadingsResponse, Status>>,
) {
    let window = receiver.config().window as usize;
    let mut storing: FuturesOrdered<BoxFuture<'_, Result<Receipt, IngestError>>> = FuturesOrdered::new();
    let mut taking = true;
    while taking || !storing.is_empty() {
        tokio::select! {
            // What waits for room in the journal takes its place before another batch is begun.
            biased;
            () = receiver.shutdown().cancelled(), if taking => taking = false,
            Some(stored) = storing.next(), if !storing.is_empty() => {
                let answer = stored.map(|receipt| StreamReadingsResponse { item: Some(Out::Receipt(receipt)) });
                // After an error the gateway has to begin a new stream; one that is gone hears nothing.
                taking &= answer.is_ok();
                taking &= out.send(answer.map_err(Status::from)).await.is_ok();
            }
            message = incoming.message(), if taking && storing.len() < window => match batch_of(message) {
                Ok(Some(batch)) => storing.push_back(receiver.begin(&sender, batch)),
                Ok(None) => taking = false,
                Err(status) => {
                    taking = false;
                    storing.push_back(Box::pin(std::future::ready(Err(IngestError::Transport(status)))));
                }
            },
        }
    }
}

/// The batch of a message; `None` at the end of the stream.
fn batch_of(message: Result<Option<StreamReadingsRequest>, Status>) -> Result<Option<Batch>, Status> {
    let Some(message) = message? else { return Ok(None) };
    match message.item {
        Some(In::Batch(batch)) => Ok(Some(batch)),
        Some(In::Hello(_)) => Err(IngestError::Protocol("a stream has one hello, at its beginning").into()),
        None => Err(IngestError::Protocol("a message with neither hello nor batch").into()),
    }
}
