use std::sync::Arc;
use std::time::Duration;

use rimeline_journal::Position;

use crate::Receiver;

/// The journal lets go of whole files, and each time what was received is written down first: it is worth it only once
/// the readers have come on by about so many bytes.
const WORTH_IT: u64 = 16 << 20;

/// Cuts the journal down to what some reader still needs, again and again until shutdown. `consumed` says how far
/// every reader has durably come.
pub async fn keep_journal_short(receiver: Arc<Receiver>, consumed: impl Fn() -> Position + Send) {
    let every = Duration::from_secs(u64::from(receiver.config().trim_every_seconds));
    let shutdown = receiver.shutdown().clone();
    let mut trimmed = receiver.journal_start();
    while shutdown.run_until_cancelled(tokio::time::sleep(every)).await.is_some() {
        let consumed = consumed();
        if consumed.get().saturating_sub(trimmed.get()) < WORTH_IT {
            continue;
        }
        match receiver.trim(consumed).await {
            Ok(()) => trimmed = consumed,
            Err(error) => tracing::warn!(%error, "the journal could not be cut down; it is tried again"),
        }
    }
}
