//! Reading back.

use std::sync::Arc;

use bytes::{Buf, Bytes, BytesMut};

use crate::disk::DiskFile;
use crate::error::Doing;
use crate::format::{FRAME_BYTES, HEADER_BYTES, Kind, Stamp};
use crate::layout::segment_path;
use crate::shared::Shared;
use crate::window::{Fault, Window};
use crate::{Entry, JournalError, Position};

/// Entries from a position on, all of one segment.
pub(crate) fn read(shared: &Shared, from: Position, max_bytes: usize) -> Result<Vec<Entry>, JournalError> {
    let end = shared.end();
    if from.get() > end {
        return Err(JournalError::BeyondEnd { position: from, end: Position::new(end) });
    }
    let mut at = from.get();
    let mut entries = Vec::new();
    while at < end && entries.is_empty() {
        match Place::find(shared, at, end).and_then(|place| place.read(at, max_bytes, &mut entries)) {
            Ok(next) => at = next,
            // Whatever went wrong, it went wrong because a trim came first.
            Err(_) if shared.start() > at => break,
            Err(error) => return Err(error),
        }
    }
    let start = shared.start();
    if entries.is_empty() && from.get() < start {
        return Err(JournalError::Trimmed { position: from, start: Position::new(start) });
    }
    Ok(entries)
}

/// Where a position is to be read.
struct Place<'a> {
    shared: &'a Shared,
    file: Arc<dyn DiskFile>,
    start: u64,
    stamp: Stamp,
    /// Positions in this segment end here.
    limit: u64,
}

/// Why a buffer gave no more entries.
struct Stop {
    at: u64,
    /// A buffer of this size gives the next one.
    needs: usize,
}

impl<'a> Place<'a> {
    fn find(shared: &'a Shared, at: u64, end: u64) -> Result<Self, JournalError> {
        let segments = shared.segments();
        let after = segments.starts.partition_point(|&start| start <= at);
        let Some(&start) = after.checked_sub(1).and_then(|i| segments.starts.get(i)) else {
            let start = Position::new(segments.starts.front().copied().unwrap_or(end));
            return Err(JournalError::Trimmed { position: Position::new(at), start });
        };
        let (file, limit) = match segments.starts.get(after) {
            None => (Arc::clone(&segments.active), end),
            Some(&next) => {
                drop(segments);
                let path = segment_path(&shared.dir, start);
                (shared.disk.open(&path).doing("open", &path)?, next)
            }
        };
        Ok(Self { shared, file, start, stamp: Stamp::new(shared.id, start), limit })
    }

    /// Collects entries from `at` on and says where to read on.
    fn read(&self, mut at: u64, max_bytes: usize, entries: &mut Vec<Entry>) -> Result<u64, JournalError> {
        let mut wanted = max_bytes.max(FRAME_BYTES);
        while at < self.limit && entries.is_empty() {
            let mut held = BytesMut::zeroed(wanted.min((self.limit - at) as usize));
            let path = || segment_path(&self.shared.dir, self.start);
            self.file.read_at(&mut held, self.stamp.offset(at)).doing("read", &path())?;
            let stop = match self.cut(at, held.freeze(), entries) {
                Ok(stop) => stop,
                // The entries before it are good; the next read meets it first and tells.
                Err(_) if !entries.is_empty() => break,
                Err(error) => return Err(error),
            };
            at = stop.at;
            wanted = stop.needs.max(max_bytes);
        }
        Ok(at)
    }

    /// Cuts a buffer that begins at `at` into entries.
    fn cut(&self, mut at: u64, mut held: Bytes, entries: &mut Vec<Entry>) -> Result<Stop, JournalError> {
        loop {
            if held.len() < FRAME_BYTES {
                return Ok(Stop { at, needs: FRAME_BYTES });
            }
            let Some(head) = self.stamp.read_head(&held) else {
                return self.pass_over(at, Fault::NoFrame);
            };
            let bytes = FRAME_BYTES + head.length as usize;
            if bytes as u64 > self.limit - at {
                return self.pass_over(at, Fault::RunsPast);
            }
            let sum = self.stamp.begin(&held, self.stamp.offset(at));
            let next = at + bytes as u64;
            match head.kind {
                Kind::Void if sum == head.checksum => held.advance(bytes.min(held.len())),
                Kind::Record if held.len() < bytes => return Ok(Stop { at, needs: bytes }),
                Kind::Record if crc32c::crc32c_append(sum, &held[FRAME_BYTES..bytes]) == head.checksum => {
                    let record = held.split_to(bytes).slice(FRAME_BYTES..);
                    entries.push(Entry { position: Position::new(at), next: Position::new(next), record });
                }
                Kind::Void | Kind::Record => return self.pass_over(at, Fault::Checksum),
            }
            at = next;
        }
    }

    /// Where there is no frame: goes on after the void that has taken its place, or tells a position that nobody
    /// handed out from damage.
    fn pass_over(&self, at: u64, fault: Fault) -> Result<Stop, JournalError> {
        let path = segment_path(&self.shared.dir, self.start);
        let offset = self.stamp.offset(at);
        let damaged = || JournalError::damaged(&path, offset, fault.to_string());

        let limit = self.stamp.offset(self.limit);
        let mut window = Window::new(&*self.file, self.stamp, limit).doing("read", &path)?;
        let mut reached = HEADER_BYTES;
        while reached < offset {
            let frame = window.frame_at(reached).doing("read", &path)?.map_err(|_| damaged())?;
            if frame.kind == Kind::Void && frame.end > offset {
                return Ok(Stop { at: self.stamp.position(frame.end), needs: FRAME_BYTES });
            }
            reached = frame.end;
        }
        if reached > offset {
            Err(JournalError::NoRecord { position: Position::new(at) })
        } else {
            Err(damaged())
        }
    }
}
