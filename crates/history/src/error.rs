use polars::prelude::PolarsError;
use rimeline_archive::ArchiveError;

/// Why a question was not answered.
#[derive(Debug, thiserror::Error)]
pub enum HistoryError {
    /// The manifest could not be read.
    #[error(transparent)]
    Archive(#[from] ArchiveError),
    /// A span that ends before it begins.
    #[error("the span begins at {from} and ends at {until}; the end must not come before the beginning")]
    Span {
        /// As given.
        from: i64,
        /// As given.
        until: i64,
    },
    /// Files could not be read.
    #[error(
        "cannot read {files} of {place}: {source}; `rimeline verify` checks every file against the manifest"
    )]
    Scan {
        /// Which files, in short.
        files: String,
        /// The archive.
        place: String,
        /// What went wrong.
        source: Box<PolarsError>,
    },
    /// The archive holds something that the vocabulary does not know.
    #[error("the archive in {place} holds `{what}`, which this version does not know")]
    Unknown {
        /// The archive.
        place: String,
        /// What it is.
        what: String,
    },
}
