//! The names in a journal's directory.

use std::path::{Path, PathBuf};

use crate::JournalError;
use crate::disk::Disk;
use crate::error::Doing;

pub(crate) const LOCK: &str = "lock";
pub(crate) const CHECKPOINT: &str = "checkpoint";
const SEGMENT: &str = ".segment";
const TEMPORARY: &str = ".tmp";
const ASIDE: &str = ".damaged";
/// The root of a mounted file system has this; an otherwise empty one is as good as empty.
const OF_THE_FILE_SYSTEM: &str = "lost+found";

pub(crate) fn segment_path(dir: &Path, start: u64) -> PathBuf {
    dir.join(format!("{start:020}{SEGMENT}"))
}

pub(crate) fn temporary(path: &Path) -> PathBuf {
    appended(path, TEMPORARY)
}

pub(crate) fn appended(path: &Path, suffix: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(suffix);
    name.into()
}

/// A name for the copy of a damaged file that is not in use.
pub(crate) fn aside(path: &Path, taken: &[String]) -> PathBuf {
    let free = |candidate: &PathBuf| {
        !taken.iter().any(|name| candidate.file_name().is_some_and(|file| file == name.as_str()))
    };
    let plain = appended(path, ASIDE);
    if free(&plain) {
        return plain;
    }
    let mut numbered = (2..).map(|n| appended(path, &format!(".{n}{ASIDE}")));
    numbered.find(free).unwrap_or(plain)
}

/// What is in a journal's directory.
#[derive(Debug, Default)]
pub(crate) struct Listing {
    /// Positions of segments, ascending.
    pub segments: Vec<u64>,
    pub checkpoint: bool,
    pub temporary: Vec<PathBuf>,
    /// Not ours.
    pub strangers: Vec<String>,
    pub names: Vec<String>,
}

impl Listing {
    pub(crate) fn read(disk: &dyn Disk, dir: &Path) -> Result<Self, JournalError> {
        let mut listing = Self { names: disk.list(dir).doing("list", dir)?, ..Self::default() };
        for name in &listing.names {
            match name.as_str() {
                LOCK | OF_THE_FILE_SYSTEM => {}
                CHECKPOINT => listing.checkpoint = true,
                _ if name.ends_with(ASIDE) => {}
                _ => match (segment_start(name), name.strip_suffix(TEMPORARY)) {
                    (Some(start), _) => listing.segments.push(start),
                    (None, Some(stem)) if stem == CHECKPOINT || segment_start(stem).is_some() => {
                        listing.temporary.push(dir.join(name));
                    }
                    _ => listing.strangers.push(name.clone()),
                },
            }
        }
        listing.segments.sort_unstable();
        Ok(listing)
    }

    /// True where no journal was ever completed here.
    pub(crate) fn is_new(&self) -> bool {
        self.segments.is_empty() && !self.checkpoint
    }
}

fn segment_start(name: &str) -> Option<u64> {
    let digits = name.strip_suffix(SEGMENT)?;
    (digits.len() == 20 && digits.bytes().all(|b| b.is_ascii_digit())).then(|| digits.parse().ok())?
}
