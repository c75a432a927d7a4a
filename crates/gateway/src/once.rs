use rimeline_channels::Batch;
use rimeline_clock::Clock;
use rimeline_wire::pb;

use crate::link::wire;
use crate::progress::Receipt;
use crate::split::{self, Room};
use crate::{Config, GatewayError};

/// Sends one batch in one call, for programs that cannot hold a stream.
///
/// `(config.gateway, epoch, sequence)` names the batch for ever: send it again with the same three until an answer
/// comes, and it is stored once. [`GatewayError::is_retryable`] says whether to; `config`'s spool and window play no
/// part.
pub async fn send_once(
    config: &Config,
    clock: &dyn Clock,
    epoch: u64,
    sequence: u64,
    batch: &Batch,
) -> Result<Receipt, GatewayError> {
    config.check()?;
    let limit = config.batch.bytes;
    let room = Room { rows: usize::MAX, units: usize::MAX, bytes: usize::MAX, bytes_at_most: usize::MAX };
    let body = split::fit(batch, room)?.pop().unwrap_or_default();
    if body.len() > limit {
        let bytes = body.len();
        return Err(GatewayError::TooLarge { bytes, limit });
    }
    let hello = pb::Hello {
        gateway: config.gateway.to_string(),
        epoch,
        oldest_sequence: 0,
        clock_ms: if clock.follows_data() { 0 } else { clock.now_ms() },
    };
    let request = wire::Once { hello: Some(hello), batch: body.bytes(sequence) };
    let channel = wire::channel(&config.endpoint)?;
    let answer = tokio::time::timeout(config.answer_within, wire::once(&channel, config, request)).await;
    let answer =
        answer.unwrap_or_else(|_| Err(tonic::Status::deadline_exceeded("the server did not answer in time")));
    let answer = answer.map_err(|status| GatewayError::of_call(&config.endpoint, &status))?;
    answer.receipt.ok_or_else(|| {
        let status = tonic::Status::internal("the answer holds no receipt");
        GatewayError::of_call(&config.endpoint, &status)
    })
}
