//! Reads a whole journal and tells its state, without changing anything.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use crate::checkpoint::Checkpoint;
use crate::disk::{Disk, DiskFile};
use crate::error::Doing;
use crate::format::{BadHeader, FORMAT, HEADER_BYTES, Header, Stamp};
use crate::layout::{CHECKPOINT, Listing, segment_path};
use crate::sweep::{Extent, Sweep, sweep};
use crate::window::Fault;
use crate::{Damage, JournalError, Position};

/// A segment file that is part of the journal.
pub(crate) struct Segment {
    pub start: u64,
    pub path: PathBuf,
    pub file: Arc<dyn DiskFile>,
    pub stamp: Stamp,
    /// `None`: damaged.
    pub header: Option<Header>,
    pub sweep: Sweep,
}

/// The state of a journal.
pub(crate) struct Survey {
    /// `None`: lost or damaged, or the journal's creation was cut off.
    pub checkpoint: Option<Checkpoint>,
    pub id: u64,
    pub start: u64,
    pub segments: Vec<Segment>,
    /// Files of which nothing is needed.
    pub leftovers: Vec<PathBuf>,
    pub damages: Vec<Damage>,
}

pub(crate) fn survey(disk: &dyn Disk, dir: &Path, listing: &Listing) -> Result<Survey, JournalError> {
    let checkpoint = read_checkpoint(disk, dir, listing)?;
    let mut opened = Vec::with_capacity(listing.segments.len());
    for &start in &listing.segments {
        let path = segment_path(dir, start);
        let file = disk.open(&path).doing("open", &path)?;
        let header = read_header(&*file, &path)?;
        opened.push((start, path, file, header));
    }
    let named = opened.iter().find_map(|(.., header)| header.as_ref());
    let Some(id) = checkpoint.map(|c| c.id).or_else(|| named.map(|header| header.id)) else {
        let path = dir.join(CHECKPOINT);
        return Err(JournalError::damaged(
            &path,
            0,
            "neither it nor any segment tells which journal this is",
        ));
    };
    let first = opened.first().map_or(0, |(start, ..)| *start);
    let start = checkpoint.map_or(first, |c| c.start);
    let durable = checkpoint.map_or(0, |c| c.durable).max(start);

    let mut survey = Survey {
        checkpoint,
        id,
        start,
        segments: Vec::new(),
        leftovers: listing.temporary.clone(),
        damages: vec![],
    };
    let mut reached = start;
    let ends: Vec<_> = opened.iter().skip(1).map(|(start, ..)| Some(*start)).chain([None]).collect();
    for ((start, path, file, header), end) in opened.into_iter().zip(ends) {
        if start < survey.start {
            survey.leftovers.push(path);
            continue;
        }
        if survey.segments.is_empty() && start > reached {
            survey.damage(
                &segment_path(dir, reached),
                0,
                (Position::new(reached), Position::new(start)),
                MISSING,
            );
        }
        let stamp = Stamp::new(id, start);
        let extent = match end {
            Some(end) => Extent::Closed(stamp.offset(end)),
            None => Extent::Last(stamp.offset(durable.max(start))),
        };
        let header = header.filter(|header| (header.id, header.start) == (id, start));
        if header.is_none() {
            let place = Position::new(start);
            survey.damage(&path, 0, (place, place), &Fault::Header.to_string());
        }
        let sweep = sweep(&*file, stamp, extent).doing("read", &path)?;
        for hole in &sweep.holes {
            let lost = (Position::new(stamp.position(hole.from)), Position::new(stamp.position(hole.to)));
            survey.damage(&path, hole.from, lost, &hole.fault.to_string());
        }
        reached = stamp.position(sweep.end);
        survey.segments.push(Segment { start, path, file, stamp, header, sweep });
    }
    if survey.segments.is_empty() {
        survey.damage(&segment_path(dir, start), 0, (Position::new(start), Position::new(durable)), MISSING);
    }
    // A journal that was only just being created has none, and no record either.
    if checkpoint.is_none() && survey.end() > 0 {
        let place = Position::new(start);
        survey.damage(&dir.join(CHECKPOINT), 0, (place, place), "it is missing or not what was written");
    }
    Ok(survey)
}

const MISSING: &str = "the file is gone";

impl Survey {
    /// The position after the last whole record.
    pub(crate) fn end(&self) -> u64 {
        self.segments.last().map_or(self.start, |last| last.stamp.position(last.sweep.end))
    }

    fn damage(&mut self, path: &Path, offset: u64, (from, to): (Position, Position), problem: &str) {
        self.damages.push(Damage { path: path.into(), offset, from, to, problem: problem.to_owned() });
    }
}

fn read_checkpoint(
    disk: &dyn Disk,
    dir: &Path,
    listing: &Listing,
) -> Result<Option<Checkpoint>, JournalError> {
    if !listing.checkpoint {
        return Ok(None);
    }
    match Checkpoint::read(disk, dir)? {
        Ok(checkpoint) => Ok(Some(checkpoint)),
        Err(BadHeader::Format(found)) => Err(version(&dir.join(CHECKPOINT), found)),
        Err(BadHeader::Magic | BadHeader::Checksum) => Ok(None),
    }
}

fn read_header(file: &dyn DiskFile, path: &Path) -> Result<Option<Header>, JournalError> {
    let mut bytes = [0; HEADER_BYTES as usize];
    if file.size().doing("read", path)? < HEADER_BYTES {
        return Ok(None);
    }
    file.read_at(&mut bytes, 0).doing("read", path)?;
    match Header::decode(&bytes) {
        Ok(header) => Ok(Some(header)),
        Err(BadHeader::Format(found)) => Err(version(path, found)),
        Err(BadHeader::Magic | BadHeader::Checksum) => Ok(None),
    }
}

fn version(path: &Path, found: u32) -> JournalError {
    JournalError::Version { path: path.into(), found, known: FORMAT }
}
