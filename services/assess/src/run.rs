use std::time::Duration;

use rimeline_journal::Position;
use tokio::runtime::Handle;

use crate::{AssessConfig, AssessError, Assessor, Parts};

/// Assesses the journal until shutdown. Blocks: run it where blocking is allowed, inside a runtime.
pub fn run(config: AssessConfig, parts: &Parts) -> Result<(), AssessError> {
    let runtime = Handle::current();
    let pause = Duration::from_millis(u64::from(config.step_every_ms));
    let idle = Duration::from_secs(u64::from(config.tick_seconds)).min(Duration::from_secs(1));
    let small = (config.step_bytes / 4) as u64;
    let mut assessor = Assessor::open(config, parts.clone())?;
    while !parts.shutdown.is_cancelled() {
        let before = assessor.position();
        if assessor.step()? {
            // While little arrives, a little waiting makes one step of many.
            if assessor.position().get().saturating_sub(before.get()) < small {
                runtime.block_on(parts.shutdown.run_until_cancelled(tokio::time::sleep(pause)));
            }
        } else {
            runtime.block_on(wait(parts, assessor.position(), idle));
            assessor.pass_time()?;
        }
    }
    Ok(())
}

/// Until there is more to assess, time has passed, or the role ends.
async fn wait(parts: &Parts, position: Position, idle: Duration) {
    tokio::select! {
        // A journal that failed ends the service by itself.
        Ok(_) = parts.journal.wait_beyond(position) => {}
        () = tokio::time::sleep(idle) => {}
        () = parts.shutdown.cancelled() => {}
    }
}
