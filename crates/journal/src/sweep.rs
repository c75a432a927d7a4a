//! Goes through a segment and tells what is whole, what is damaged and what was torn.

use std::io;

use crate::disk::DiskFile;
use crate::format::{HEADER_BYTES, Kind, Stamp};
use crate::window::{Fault, Window};

/// Where a segment must end.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Extent {
    /// At this offset, because the next segment begins there. What follows is left of a write that failed.
    Closed(u64),
    /// Not before this offset. What follows and is not whole was never acknowledged.
    Last(u64),
}

/// A stretch of a file that was on disk and is not any more.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Hole {
    pub from: u64,
    pub to: u64,
    pub fault: Fault,
}

/// What a segment holds.
#[derive(Clone, Debug)]
pub(crate) struct Sweep {
    /// Where its frames end.
    pub end: u64,
    pub records: u64,
    /// Where its last group begins.
    pub last_group: u64,
    pub holes: Vec<Hole>,
    /// Bytes of a torn write after the end.
    pub torn: u64,
}

/// A place where frames break off, and what was before it.
struct Break {
    hole: Hole,
    records: u64,
    last_group: u64,
}

pub(crate) fn sweep(file: &dyn DiskFile, stamp: Stamp, extent: Extent) -> io::Result<Sweep> {
    let size = file.size()?;
    let (limit, mut proven) = match extent {
        Extent::Closed(limit) => (limit, limit),
        Extent::Last(proven) => (size.max(HEADER_BYTES), proven),
    };
    let mut window = Window::new(file, stamp, limit)?;
    let mut breaks = Vec::new();
    let (mut at, mut records, mut last_group) = (HEADER_BYTES, 0, HEADER_BYTES);
    while at < limit {
        match window.frame_at(at)? {
            Ok(frame) => {
                records += u64::from(frame.kind == Kind::Record);
                last_group = frame.synced.max(HEADER_BYTES);
                proven = proven.max(frame.synced);
                at = frame.end;
            }
            Err(fault) => {
                let to = window.next_frame(at + 1)?.map_or(limit, |frame| frame.offset);
                breaks.push(Break { hole: Hole { from: at, to, fault }, records, last_group });
                at = to;
            }
        }
    }
    if let Some(torn) = breaks.iter().position(|b| b.hole.from >= proven) {
        let first = &breaks[torn];
        (at, records, last_group) = (first.hole.from, first.records, first.last_group);
        breaks.truncate(torn);
    }
    let mut holes: Vec<_> = breaks.into_iter().map(|b| b.hole).collect();
    if at < proven {
        match holes.last_mut() {
            Some(hole) if hole.to == at => hole.to = proven,
            _ => holes.push(Hole { from: at, to: proven, fault: Fault::Ends }),
        }
        at = proven;
    }
    Ok(Sweep { end: at, records, last_group, holes, torn: size.saturating_sub(at) })
}
