//! Session after session.

use std::sync::Arc;
use std::time::Duration;

use backon::{BackoffBuilder, ExponentialBuilder};
use tokio::time::Instant;

use super::Shared;
use super::ledger::Ledger;
use super::session::{End, Session};
use crate::progress::Notice;
use crate::{Backoff, GatewayError};

/// Sends until everything is acknowledged and the gateway is closing, or until nothing can help.
pub(crate) async fn run(shared: Arc<Shared>, mut ledger: Ledger) {
    let mut reader = shared.keep.reader();
    let mut waits = Waits::new(shared.config.backoff);
    loop {
        let begun = Instant::now();
        let mut progressed = false;
        let session = Session {
            shared: &shared,
            reader: &mut reader,
            ledger: &mut ledger,
            progressed: &mut progressed,
        };
        let status = match session.run().await {
            End::Finished => {
                shared.progress.send_modify(|progress| progress.finished = true);
                return;
            }
            End::Gap => continue,
            End::Final(error) => return end(&shared, error),
            End::Failed(status) => status,
        };
        let reason = GatewayError::of_call(&shared.config.endpoint, &status);
        let GatewayError::Unavailable { retry_after, .. } = reason else {
            return end(&shared, reason);
        };
        if progressed || begun.elapsed() > shared.config.backoff.most {
            waits = Waits::new(shared.config.backoff);
        }
        let retry_in = waits.next(retry_after);
        tracing::warn!(gateway = %shared.config.gateway, ?retry_in, %reason, "not connected");
        shared.progress.send_modify(|progress| progress.trouble = Some(reason.clone()));
        (shared.observer)(Notice::Disconnected { reason, retry_in });
        tokio::time::sleep(retry_in).await;
    }
}

fn end(shared: &Shared, error: GatewayError) {
    tracing::error!(gateway = %shared.config.gateway, %error, "the gateway has stopped");
    shared.progress.send_modify(|progress| progress.ended = Some(error));
    // Nobody will make room any more.
    shared.keep.let_go();
}

/// The waits between attempts.
struct Waits {
    first: Duration,
    delays: <ExponentialBuilder as BackoffBuilder>::Backoff,
}

impl Waits {
    fn new(backoff: Backoff) -> Self {
        Self { first: backoff.first, delays: jittered(backoff.first, backoff.most) }
    }

    /// The next wait: what the server asks for comes first, stretched a little, so that not all come back at once.
    fn next(&mut self, asked: Option<Duration>) -> Duration {
        let own = self.delays.next().unwrap_or(self.first);
        match asked {
            Some(asked) => jittered(asked, asked).next().unwrap_or(asked).min(asked + own),
            None => own,
        }
    }
}

fn jittered(first: Duration, most: Duration) -> <ExponentialBuilder as BackoffBuilder>::Backoff {
    ExponentialBuilder::new()
        .with_min_delay(first)
        .with_max_delay(most)
        .with_jitter()
        .without_max_times()
        .build()
}

#[cfg(test)]
mod tests {
    use super::*;

    const BACKOFF: Backoff = Backoff { first: Duration::from_millis(100), most: Duration::from_secs(2) };

    #[test]
    fn waits_double_up_to_their_bound_and_are_stretched_at_most_twice() {
        let mut waits = Waits::new(BACKOFF);
        for step in 0..50 {
            let plain = (BACKOFF.first * 2_u32.saturating_pow(step)).min(BACKOFF.most);
            let wait = waits.next(None);
            assert!((plain..=2 * plain).contains(&wait), "{step}: {wait:?}");
        }
    }

    #[test]
    fn a_wait_the_server_asks_for_is_never_cut_short() {
        for asked in [Duration::from_millis(1), Duration::from_secs(7), Duration::from_secs(3600)] {
            let mut waits = Waits::new(BACKOFF);
            for _ in 0..50 {
                let wait = waits.next(Some(asked));
                assert!((asked..=2 * asked).contains(&wait), "{asked:?}: {wait:?}");
            }
        }
    }
}
