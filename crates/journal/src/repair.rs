//! Making a damaged journal whole again, with everything in it that can be read.

use std::path::{Path, PathBuf};

use crate::checkpoint::Checkpoint;
use crate::disk::{Disk, DiskFile, RealDisk};
use crate::error::Doing;
use crate::format::{FRAME_BYTES, HEADER_BYTES, Header, Stamp};
use crate::layout::{Listing, aside, segment_path};
use crate::recover::lock;
use crate::survey::{Survey, survey};
use crate::{JournalError, Position, segment};

const COPY_BYTES: u64 = 1 << 20;
/// Large enough for nearly every hole, and short of what a frame's length can say.
const VOID_BYTES: u64 = 1 << 30;

/// The state of a journal that is not in use.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Report {
    /// The first position.
    pub start: Position,
    /// The position after the last record.
    pub end: Position,
    /// Number of segment files.
    pub segments: usize,
    /// Whole records.
    pub records: u64,
    /// Bytes of a torn write at the end, none of it acknowledged; cut at the next start.
    pub torn_bytes: u64,
    /// What is damaged.
    pub damages: Vec<Damage>,
    /// Copies that a repair has put aside.
    pub copies: Vec<PathBuf>,
}

/// Something that was on disk and is gone or changed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Damage {
    /// The file.
    pub path: PathBuf,
    /// Where in the file.
    pub offset: u64,
    /// Records from here
    pub from: Position,
    /// to here are lost; none where this is the same position.
    pub to: Position,
    /// What was found.
    pub problem: String,
}

/// Reads a whole journal and reports, without changing anything. The journal must not be in use.
pub fn inspect(dir: impl AsRef<Path>) -> Result<Report, JournalError> {
    inspect_on(&RealDisk, dir.as_ref())
}

/// As [`inspect`], on a file system of the caller's.
pub fn inspect_on(disk: &dyn Disk, dir: &Path) -> Result<Report, JournalError> {
    let (_lock, listing) = take(disk, dir)?;
    Ok(report(&survey(disk, dir, &listing)?))
}

/// Makes a damaged journal one that opens, and reports what was found.
///
/// Each damaged segment is first copied to a file that ends in `.damaged`. Then every damaged stretch is marked as void,
/// a file that is gone is replaced by one that is void, a damaged header or checkpoint is written anew. Every record
/// that can be read stays where it was: positions that readers keep remain good, and a reader that comes to a void
/// passes over it. Where nothing is damaged, nothing is changed.
pub fn repair(dir: impl AsRef<Path>) -> Result<Report, JournalError> {
    repair_on(&RealDisk, dir.as_ref())
}

/// As [`repair`], on a file system of the caller's.
pub fn repair_on(disk: &dyn Disk, dir: &Path) -> Result<Report, JournalError> {
    let (_lock, mut listing) = take(disk, dir)?;
    let survey = survey(disk, dir, &listing)?;
    let mut report = report(&survey);
    if survey.damages.is_empty() {
        return Ok(report);
    }
    let pattern = survey.segments.iter().find_map(|segment| segment.header.clone());
    let Some(pattern) = pattern else {
        let path = segment_path(dir, survey.start);
        let problem = "no segment has a header left that tells whose journal this is";
        return Err(JournalError::damaged(&path, 0, problem));
    };
    for segment in &survey.segments {
        if segment.header.is_some() && segment.sweep.holes.is_empty() {
            continue;
        }
        let copy = aside(&segment.path, &listing.names);
        copy_file(disk, &*segment.file, &copy)?;
        listing.names.extend(copy.file_name().map(|name| name.to_string_lossy().into_owned()));
        report.copies.push(copy);
    }
    disk.sync_dir(dir).doing("sync", dir)?;

    for segment in &survey.segments {
        let (file, path) = (&*segment.file, &segment.path);
        if segment.header.is_none() {
            let header = Header { id: survey.id, start: segment.start, ..pattern.clone() };
            file.write_at(&header.encode(), 0).doing("write to", path)?;
        }
        for hole in &segment.sweep.holes {
            fill(file, segment.stamp, path, hole.from, hole.to)?;
        }
        file.sync_all().doing("sync", path)?;
    }
    let first = survey.segments.first().map_or(survey.start, |segment| segment.start);
    if first > survey.start {
        let header = Header { id: survey.id, start: survey.start, ..pattern };
        let file = segment::create(disk, dir, &header)?;
        let path = segment_path(dir, survey.start);
        let stamp = Stamp::new(survey.id, survey.start);
        fill(&*file, stamp, &path, HEADER_BYTES, stamp.offset(first))?;
        file.sync_all().doing("sync", &path)?;
    }
    let checkpoint = Checkpoint { id: survey.id, start: survey.start, durable: survey.end() };
    checkpoint.write(disk, dir)?;
    Ok(report)
}

/// Locks a journal, and leaves no trace in a directory that has none.
fn take(disk: &dyn Disk, dir: &Path) -> Result<(Box<dyn Send>, Listing), JournalError> {
    if Listing::read(disk, dir)?.is_new() {
        let problem = "there is no journal here".to_owned();
        return Err(JournalError::Foreign { path: dir.into(), problem });
    }
    let lock = lock(disk, dir)?;
    Ok((lock, Listing::read(disk, dir)?))
}

fn report(survey: &Survey) -> Report {
    Report {
        start: Position::new(survey.start),
        end: Position::new(survey.end()),
        segments: survey.segments.len(),
        records: survey.segments.iter().map(|segment| segment.sweep.records).sum(),
        torn_bytes: survey.segments.last().map_or(0, |segment| segment.sweep.torn),
        damages: survey.damages.clone(),
        copies: Vec::new(),
    }
}

/// Writes voids from one offset to another. The bytes between their heads stay as they are.
fn fill(file: &dyn DiskFile, stamp: Stamp, path: &Path, mut from: u64, to: u64) -> Result<(), JournalError> {
    let least = FRAME_BYTES as u64;
    if to - from < least {
        return Err(JournalError::damaged(path, from, "the stretch is too short to be marked as void"));
    }
    if file.size().doing("read", path)? < to {
        file.truncate(to).doing("extend", path)?;
    }
    while from < to {
        let mut bytes = (to - from).min(VOID_BYTES);
        if to - from > bytes && to - from - bytes < least {
            bytes -= least;
        }
        file.write_at(&stamp.void_head(from, bytes as u32), from).doing("write to", path)?;
        from += bytes;
    }
    Ok(())
}

fn copy_file(disk: &dyn Disk, file: &dyn DiskFile, to: &Path) -> Result<(), JournalError> {
    let copy = disk.create(to).doing("create", to)?;
    let size = file.size().doing("read", to)?;
    let mut part = Vec::new();
    let mut at = 0;
    while at < size {
        part.resize((size - at).min(COPY_BYTES) as usize, 0);
        file.read_at(&mut part, at).doing("copy to", to)?;
        copy.write_at(&part, at).doing("copy to", to)?;
        at += part.len() as u64;
    }
    copy.sync_all().doing("sync", to)
}
