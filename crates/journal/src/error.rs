use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use crate::Position;

/// What can go wrong with a journal. Cheap to clone: one failed write answers many appends.
#[derive(Clone, Debug, thiserror::Error)]
#[non_exhaustive]
pub enum JournalError {
    /// A setting that cannot work.
    #[error("journal setting {field}: {problem}")]
    BadOption {
        /// The setting.
        field: &'static str,
        /// What is wrong with it.
        problem: String,
    },

    /// The record is over [`crate::Options::max_record_bytes`]. It will never fit: do not send it again.
    #[error("a record of {bytes} bytes is over the limit of {limit}: send smaller batches")]
    TooLarge {
        /// Its size.
        bytes: usize,
        /// The limit.
        limit: usize,
    },

    /// The journal holds [`crate::Options::journal_bytes`]. Appends work again once readers have caught up and trimmed.
    #[error("the journal is full at {limit} bytes: readers are behind, or the limit is too small")]
    Full {
        /// The limit.
        limit: u64,
    },

    /// The record could not be written, and is not in the journal. The next append tries a new segment.
    #[error("cannot {action} {}: {source}", .path.display())]
    Append {
        /// What was tried.
        action: &'static str,
        /// On which file.
        path: PathBuf,
        /// What the system said.
        source: Arc<io::Error>,
    },

    /// The disk did not confirm a write, so nothing more is accepted. What is in question is settled at the next start.
    #[error("the journal has stopped: {reason}. Check the disk, then restart")]
    Stopped {
        /// What happened first.
        reason: Arc<str>,
    },

    /// The journal was closed.
    #[error("the journal is closed")]
    Closed,

    /// Another process, or this one, has the directory open.
    #[error("{} is in use by another process: stop it, or give this one a directory of its own", .dir.display())]
    Locked {
        /// The directory.
        dir: PathBuf,
    },

    /// The directory is not this journal's.
    #[error("{}: {problem}. Point the journal at its own directory, or at an empty one", .path.display())]
    Foreign {
        /// The directory, or the file that tells.
        path: PathBuf,
        /// What does not fit.
        problem: String,
    },

    /// The directory was written by a version of this program with another format.
    #[error("{} has format {found}, this program knows format {known}: use the program that wrote it", .path.display())]
    Version {
        /// The file that tells.
        path: PathBuf,
        /// Its format.
        found: u32,
        /// The format this program knows.
        known: u32,
    },

    /// Something that was on disk is gone or changed.
    #[error(
        "{} is damaged at byte {offset}: {problem}. `rimeline repair {}` keeps a copy and says what is lost",
        .path.display(), parent(.path).display()
    )]
    Damaged {
        /// The file.
        path: PathBuf,
        /// Where in the file.
        offset: u64,
        /// What was found.
        problem: String,
    },

    /// The position was trimmed away: the reader has missed records.
    #[error("position {position} was trimmed away, the journal starts at {start}")]
    Trimmed {
        /// What was asked for.
        position: Position,
        /// What can be had.
        start: Position,
    },

    /// The position is past the end: it belongs to another journal.
    #[error("position {position} is past the journal's end at {end}: it belongs to another journal")]
    BeyondEnd {
        /// What was asked for.
        position: Position,
        /// The end.
        end: Position,
    },

    /// The position is inside the journal but between no two records: it was not handed out by this journal.
    #[error("no record starts at position {position}: it belongs to another journal")]
    NoRecord {
        /// What was asked for.
        position: Position,
    },

    /// Anything else the system refused.
    #[error("cannot {action} {}: {source}", .path.display())]
    Io {
        /// What was tried.
        action: &'static str,
        /// On which file.
        path: PathBuf,
        /// What the system said.
        source: Arc<io::Error>,
    },
}

impl JournalError {
    /// True where the same append may succeed later without anyone restarting anything.
    pub fn is_retryable(&self) -> bool {
        matches!(self, Self::Full { .. } | Self::Append { .. })
    }

    pub(crate) fn damaged(path: &Path, offset: u64, problem: impl Into<String>) -> Self {
        Self::Damaged { path: path.into(), offset, problem: problem.into() }
    }

    pub(crate) fn stopped(action: &str, path: &Path, source: &io::Error) -> Self {
        Self::Stopped { reason: format!("cannot {action} {}: {source}", path.display()).into() }
    }
}

fn parent(path: &Path) -> &Path {
    path.parent().unwrap_or(path)
}

/// Names the action and the file of a failed system call.
pub(crate) trait Doing<T> {
    fn doing(self, action: &'static str, path: &Path) -> Result<T, JournalError>;
    fn appending(self, action: &'static str, path: &Path) -> Result<T, JournalError>;
}

impl<T> Doing<T> for io::Result<T> {
    fn doing(self, action: &'static str, path: &Path) -> Result<T, JournalError> {
        self.map_err(|e| JournalError::Io { action, path: path.into(), source: Arc::new(e) })
    }

    fn appending(self, action: &'static str, path: &Path) -> Result<T, JournalError> {
        self.map_err(|e| JournalError::Append { action, path: path.into(), source: Arc::new(e) })
    }
}
