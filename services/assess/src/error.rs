use rimeline_casebook::CasebookError;
use rimeline_journal::JournalError;

/// Why the assessing role cannot go on.
#[derive(Debug, thiserror::Error)]
pub enum AssessError {
    /// The casebook failed.
    #[error(transparent)]
    Casebook(#[from] CasebookError),
    /// The journal failed.
    #[error(transparent)]
    Journal(#[from] JournalError),
    /// A record of the journal cannot be read.
    #[error("the journal holds a record that cannot be read at {position}: {source}; run `rimeline repair`")]
    BadRecord {
        /// Where.
        position: u64,
        /// What is wrong.
        source: prost::DecodeError,
    },
    /// The state of a detector cannot be read.
    #[error(
        "the detector state of {unit} cannot be read: {message}; it was written by a newer version, or the casebook is damaged"
    )]
    BadState {
        /// Of which unit, or of the fleet.
        unit: String,
        /// What is wrong.
        message: String,
    },
}
