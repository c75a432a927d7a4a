use std::sync::Arc;
use std::time::Duration;

use rimeline_journal::Position;

use crate::Receiver;

/// Cuts the journal down to what some reader still needs, again and again until shutdown. `consumed` says how far
/// every reader has durably come.
pub async fn keep_journal_short(receiver: Arc<Receiver>, consumed: impl Fn() -> Position + Send) {
    let every = Duration::from_secs(u64::from(receiver.config().trim_every_seconds));
    let shutdown = receiver.shutdown().clone();
    while shutdown.run_until_cancelled(tokio::time::sleep(every)).await.is_some() {
        if let Err(error) = receiver.trim(consumed()).await {
            tracing::warn!(%error, "the journal could not be cut down; it is tried again");
        }
    }
}
