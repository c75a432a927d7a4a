//! Frames of a segment in bounded memory, whatever length they claim.

use std::io;

use crate::disk::DiskFile;
use crate::format::{FRAME_BYTES, Kind, Stamp};

const WINDOW_BYTES: usize = 256 << 10;

/// A frame whose checksum holds.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Frame {
    pub offset: u64,
    pub end: u64,
    pub kind: Kind,
    pub synced: u64,
}

/// Why there is no frame at an offset.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Fault {
    /// The file ends.
    Ends,
    /// Other bytes stand here.
    NoFrame,
    /// The frame claims to run past where it must end.
    RunsPast,
    /// The contents are not what was written.
    Checksum,
    /// The file does not begin as a segment of this journal.
    Header,
}

impl std::fmt::Display for Fault {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Ends => "the file ends, and there was more (cut short, or the next segment's file is gone)",
            Self::NoFrame => "no record begins here, though one did",
            Self::RunsPast => "a record claims to be longer than there is room",
            Self::Checksum => "a record is not what was written (checksum)",
            Self::Header => "this is not the beginning of a segment of this journal",
        })
    }
}

/// A sliding view of a file.
pub(crate) struct Window<'a> {
    file: &'a dyn DiskFile,
    stamp: Stamp,
    /// Frames end here at the latest.
    limit: u64,
    /// Bytes end here.
    size: u64,
    held: Vec<u8>,
    at: u64,
}

impl<'a> Window<'a> {
    pub(crate) fn new(file: &'a dyn DiskFile, stamp: Stamp, limit: u64) -> io::Result<Self> {
        let size = file.size()?.min(limit);
        Ok(Self { file, stamp, limit, size, held: Vec::new(), at: 0 })
    }

    /// The frame at an offset.
    pub(crate) fn frame_at(&mut self, offset: u64) -> io::Result<Result<Frame, Fault>> {
        let stamp = self.stamp;
        let bytes = self.bytes(offset, FRAME_BYTES)?;
        if bytes.len() < FRAME_BYTES {
            return Ok(Err(Fault::Ends));
        }
        let Some(head) = stamp.read_head(bytes) else {
            return Ok(Err(Fault::NoFrame));
        };
        let mut sum = stamp.begin(bytes, offset);
        let end = offset + FRAME_BYTES as u64 + u64::from(head.length);
        if end > self.limit {
            return Ok(Err(Fault::RunsPast));
        }
        if end > self.size {
            return Ok(Err(Fault::Ends));
        }
        let mut at = offset + FRAME_BYTES as u64;
        while at < end && head.kind == Kind::Record {
            let most = (end - at).min(WINDOW_BYTES as u64) as usize;
            let part = self.bytes(at, 1)?;
            let part = &part[..part.len().min(most)];
            sum = crc32c::crc32c_append(sum, part);
            at += part.len() as u64;
        }
        if sum != head.checksum {
            return Ok(Err(Fault::Checksum));
        }
        Ok(Ok(Frame { offset, end, kind: head.kind, synced: u64::from(head.synced) }))
    }

    /// The next frame at `from` or after it, wherever it begins.
    pub(crate) fn next_frame(&mut self, mut from: u64) -> io::Result<Option<Frame>> {
        let marks = [self.stamp.record_mark.to_le_bytes(), self.stamp.void_mark.to_le_bytes()];
        loop {
            let view = self.bytes(from, FRAME_BYTES)?;
            if view.len() < FRAME_BYTES {
                return Ok(None);
            }
            let found = view.windows(4).position(|four| four == marks[0] || four == marks[1]);
            let Some(at) = found else {
                from += view.len() as u64 - 3;
                continue;
            };
            from += at as u64;
            if let Ok(frame) = self.frame_at(from)? {
                return Ok(Some(frame));
            }
            from += 1;
        }
    }

    /// What the file holds from `offset` on: at least `least` bytes unless it ends.
    fn bytes(&mut self, offset: u64, least: usize) -> io::Result<&[u8]> {
        let held = self.at..self.at + self.held.len() as u64;
        let wanted = (offset + least as u64).min(self.size);
        if !held.contains(&offset) || wanted > held.end {
            let length = self.size.saturating_sub(offset).min(WINDOW_BYTES as u64) as usize;
            self.held.resize(length, 0);
            self.at = offset;
            self.file.read_at(&mut self.held, offset)?;
        }
        Ok(&self.held[(offset - self.at) as usize..])
    }
}
