//! Forgetting.

use std::io;

use crate::disk::Disk;
use crate::layout::segment_path;
use crate::shared::Shared;
use crate::{JournalError, Position, error::Doing};

/// Forgets whole segments before `to`: first on disk in the checkpoint, then for readers, then the files.
pub(crate) fn trim(shared: &Shared, to: Position) -> Result<(), JournalError> {
    let end = shared.end();
    if to.get() > end {
        return Err(JournalError::BeyondEnd { position: to, end: Position::new(end) });
    }
    let mut keeper = shared.keeper();
    if let Some(reason) = shared.ended() {
        return Err(reason);
    }
    if keeper.closed {
        return Err(JournalError::Closed);
    }
    let start = {
        let segments = shared.segments();
        let before = segments.starts.partition_point(|&start| start <= to.get());
        segments.starts[before.saturating_sub(1)]
    };
    if start > keeper.checkpoint.start {
        let checkpoint = crate::checkpoint::Checkpoint { start, durable: end, ..keeper.checkpoint };
        checkpoint.write(&*shared.disk, &shared.dir)?;
        keeper.checkpoint = checkpoint;
        let mut segments = shared.segments_mut();
        while segments.starts.front().is_some_and(|&first| first < start) {
            let gone = segments.starts.pop_front();
            keeper.doomed.extend(gone.map(|start| segment_path(&shared.dir, start)));
        }
    }
    remove(&*shared.disk, &mut keeper.doomed)
}

/// Removes files; those that stay are tried again next time.
fn remove(disk: &dyn Disk, doomed: &mut Vec<std::path::PathBuf>) -> Result<(), JournalError> {
    let mut first = Ok(());
    doomed.retain(|path| match disk.unlink(path) {
        Ok(()) => false,
        Err(e) if e.kind() == io::ErrorKind::NotFound => false,
        Err(e) => {
            if first.is_ok() {
                first = Err(e).doing("remove", path);
            }
            true
        }
    });
    first
}
