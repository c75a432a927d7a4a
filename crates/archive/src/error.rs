use rimeline_channels::ShapeError;

use crate::StoreError;

/// Why the archive did not do as asked.
#[derive(Debug, thiserror::Error)]
pub enum ArchiveError {
    /// The store said no. Nothing that was added is lost: rows stay buffered, and the journal still holds them.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// A manifest file that does not say what it should.
    #[error(
        "manifest file {file} in {place} is damaged: {what}; restore it from a copy of the directory; data files are \
         as they were, and none is removed while the manifest cannot be read"
    )]
    Manifest {
        /// Its key.
        file: String,
        /// The archive.
        place: String,
        /// What is wrong with it.
        what: String,
    },
    /// Data files without any manifest.
    #[error(
        "{place} holds {files} data files and no manifest, so nobody knows which of them count; restore {place}/manifest \
         from a copy, or move the files away to start anew"
    )]
    NoManifest {
        /// The archive.
        place: String,
        /// How many data files there are.
        files: usize,
    },
    /// The data files are newer than the manifest.
    #[error(
        "{place} holds files of {flushes} flushes that its manifest does not know, so the manifest is an old copy; \
         restore the newest {place}/manifest, or move those files away to have them made again from the journal"
    )]
    Stale {
        /// The archive.
        place: String,
        /// How many flushes.
        flushes: usize,
    },
    /// There is no archive in this place.
    #[error("there is no archive in {0}; the archive role makes one at its first start")]
    NoArchive(String),
    /// Opened with a number of buckets that is not the one it was made with.
    #[error(
        "the archive in {place} was made with {kept} buckets and is opened with {asked}; set buckets = {kept}, or \
         choose another directory"
    )]
    Buckets {
        /// The archive.
        place: String,
        /// As in the manifest.
        kept: u16,
        /// As in the configuration.
        asked: u16,
    },
    /// An option outside its range.
    #[error("archive option {option} is {given}; it must be {allowed}")]
    Option {
        /// Which.
        option: &'static str,
        /// As given.
        given: u64,
        /// The range.
        allowed: &'static str,
    },
    /// A batch whose parts do not fit together.
    #[error("batch at journal position {position}: {source}")]
    Shape {
        /// Where it came from.
        position: u64,
        /// What does not fit.
        source: ShapeError,
    },
    /// Positions must grow.
    #[error("journal position {given} comes after {reached}; add batches in journal order")]
    Order {
        /// The position given.
        given: u64,
        /// The position reached before.
        reached: u64,
    },
    /// The buffer holds as many rows as it may.
    #[error(
        "{rows} rows wait to be written, the most that max_rows allows; flush first. If flushing fails, its error says why"
    )]
    Full {
        /// Rows buffered.
        rows: usize,
    },
    /// A Parquet file could not be made or read.
    #[error("{file}: {source}; `rimeline verify` checks every file against the manifest")]
    Parquet {
        /// Its key.
        file: String,
        /// What went wrong.
        source: parquet::errors::ParquetError,
    },
    /// A data file that is not what was written.
    #[error("{file} is damaged: {what}; restore it from a copy")]
    Damaged {
        /// Its key.
        file: String,
        /// What is wrong with it.
        what: String,
    },
    /// A Parquet file that is not one of ours.
    #[error("{file}: {what}; it was not written by this version of the archive")]
    Foreign {
        /// Its key.
        file: String,
        /// What is odd about it.
        what: String,
    },
    /// An earlier write of the manifest failed, so what the disk holds is not known.
    #[error(
        "the archive in {place} stopped after a failed manifest write ({why}); restart, and it goes on from what is on disk"
    )]
    Stopped {
        /// The archive.
        place: String,
        /// The first error.
        why: String,
    },
}

impl ArchiveError {
    /// True where waiting or more room may help and the same call may be tried again.
    pub fn is_retryable(&self) -> bool {
        matches!(self, Self::Store(StoreError::Io { .. }) | Self::Full { .. })
    }
}
