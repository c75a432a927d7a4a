//! From a directory to a journal that can be written.

use std::hash::BuildHasher;
use std::io;
use std::path::Path;
use std::sync::Arc;

use crate::checkpoint::Checkpoint;
use crate::disk::{Disk, DiskFile};
use crate::error::Doing;
use crate::format::Header;
use crate::layout::{LOCK, Listing, segment_path};
use crate::segment;
use crate::shared::{Segments, Shared};
use crate::survey::{Survey, survey};
use crate::writer::{Active, Writer};
use crate::{JournalError, Options};

const COPY_BYTES: u64 = 1 << 20;

/// Takes the directory for this process.
pub(crate) fn lock(disk: &dyn Disk, dir: &Path) -> Result<Box<dyn Send>, JournalError> {
    let path = dir.join(LOCK);
    match disk.lock(&path) {
        Err(e) if e.kind() == io::ErrorKind::WouldBlock => Err(JournalError::Locked { dir: dir.into() }),
        other => other.doing("lock", &path),
    }
}

/// Opens or creates the journal in a directory.
pub(crate) fn open(
    disk: Arc<dyn Disk>,
    dir: &Path,
    options: Options,
) -> Result<(Arc<Shared>, Writer), JournalError> {
    disk.create_dir(dir).doing("create", dir)?;
    let lock = lock(&*disk, dir)?;
    let mut listing = Listing::read(&*disk, dir)?;
    if listing.is_new() {
        create(&*disk, dir, &options, &listing)?;
        listing = Listing::read(&*disk, dir)?;
    }
    let survey = survey(&*disk, dir, &listing)?;
    check(&survey, &options)?;
    let checkpoint = settle(&*disk, dir, &survey)?;

    let end = survey.end();
    let starts = survey.segments.iter().map(|segment| segment.start).collect();
    let Some(last) = survey.segments.into_iter().next_back() else {
        return Err(JournalError::damaged(&segment_path(dir, checkpoint.start), 0, "the file is gone"));
    };
    let active =
        Active { file: Arc::clone(&last.file), path: last.path, stamp: last.stamp, good: last.sweep.end };
    let segments = Segments { starts, active: last.file };
    let shared = Arc::new(Shared::new(disk, dir.into(), options, checkpoint, segments, end));
    Ok((Arc::clone(&shared), Writer::new(shared, active, lock)))
}

/// Lays the first segment. The checkpoint follows once that is found whole.
fn create(disk: &dyn Disk, dir: &Path, options: &Options, listing: &Listing) -> Result<(), JournalError> {
    if let Some(stranger) = listing.strangers.first() {
        let problem = format!("there is no journal here, but `{stranger}` is");
        return Err(JournalError::Foreign { path: dir.into(), problem });
    }
    // The hasher is seeded by the system: unique to this journal, and unknown to whoever sends records.
    let id = std::hash::RandomState::new().hash_one(dir);
    let header = Header { id, start: 0, config_hash: options.config_hash, node: options.node.clone() };
    segment::create(disk, dir, &header).map(drop)
}

/// Refuses what is damaged or not ours, before anything is changed.
fn check(survey: &Survey, options: &Options) -> Result<(), JournalError> {
    for segment in &survey.segments {
        let Some(header) = &segment.header else { continue };
        let foreign = |problem| Err(JournalError::Foreign { path: segment.path.clone(), problem });
        if header.node != options.node {
            return foreign(format!(
                "it is the journal of node `{}`, not of `{}`",
                header.node, options.node
            ));
        }
        if header.config_hash != options.config_hash {
            let (found, ours) = (header.config_hash, options.config_hash);
            return foreign(format!("it was written with configuration {found:016x}, not {ours:016x}"));
        }
    }
    if let Some(damage) = survey.damages.first() {
        return Err(JournalError::damaged(&damage.path, damage.offset, damage.problem.clone()));
    }
    Ok(())
}

/// Removes what a crash has left and makes sure that what is kept is on disk.
fn settle(disk: &dyn Disk, dir: &Path, survey: &Survey) -> Result<Checkpoint, JournalError> {
    for path in &survey.leftovers {
        disk.unlink(path).doing("remove", path)?;
    }
    if let Some(last) = survey.segments.last() {
        let (file, sweep, path) = (&*last.file, &last.sweep, &last.path);
        if sweep.torn > 0 {
            tracing::warn!(file = %path.display(), at = sweep.end, bytes = sweep.torn, "cut off a torn write");
            file.truncate(sweep.end).doing("cut", path)?;
        }
        rewrite(file, sweep.last_group.min(sweep.end), sweep.end).doing("rewrite", path)?;
        file.sync_all().doing("sync", path)?;
    }
    disk.sync_dir(dir).doing("sync", dir)?;
    if let Some(checkpoint) = survey.checkpoint {
        return Ok(checkpoint);
    }
    let checkpoint = Checkpoint { id: survey.id, start: survey.start, durable: survey.start };
    checkpoint.write(disk, dir)?;
    Ok(checkpoint)
}

/// Writes bytes where they are, so that a sync cannot take them for clean.
fn rewrite(file: &dyn DiskFile, mut from: u64, to: u64) -> io::Result<()> {
    let mut part = Vec::new();
    while from < to {
        part.resize((to - from).min(COPY_BYTES) as usize, 0);
        file.read_at(&mut part, from)?;
        file.write_at(&part, from)?;
        from += part.len() as u64;
    }
    Ok(())
}
