use std::time::Duration;

use rimeline_channels::BadId;
use rimeline_journal::JournalError;
use tonic::{Code, Status};
use tonic_types::{ErrorDetails, StatusExt};

/// How long a gateway is asked to wait when there is no room.
const ASK_AGAIN: Duration = Duration::from_secs(5);

/// Why a call could not be served. What is wrong with single items is in the receipt, never here.
#[derive(Debug, thiserror::Error)]
pub enum IngestError {
    /// The call did not begin with a Hello, or a batch was missing.
    #[error("{0}")]
    Protocol(&'static str),
    /// The Hello names no gateway.
    #[error("hello.gateway: {0}")]
    BadGateway(#[from] BadId),
    /// The epoch is older than one already heard of.
    #[error(
        "hello.epoch {given} of gateway {gateway} is older than {known}, which was heard before; an epoch must grow \
         when a gateway loses its spool"
    )]
    OldEpoch {
        /// The gateway.
        gateway: String,
        /// What it said.
        given: u64,
        /// The newest epoch heard.
        known: u64,
    },
    /// A batch is too far ahead of one that never came.
    #[error(
        "batch.sequence {sequence} is more than {max_gap} ahead of {through}, the last one without a gap; send the \
         missing ones, or state hello.oldest_sequence if they are gone"
    )]
    Gap {
        /// The batch.
        sequence: u64,
        /// The last sequence without a gap.
        through: u64,
        /// The bound.
        max_gap: u32,
    },
    /// The journal cannot take it.
    #[error("the reading could not be made durable: {0}")]
    Journal(#[from] JournalError),
    /// The connection failed, or what came over it is no message.
    #[error("{}", .0.message())]
    Transport(Status),
    /// The server is going down.
    #[error("the server is stopping; send it again to the next one")]
    Stopping,
    /// A record of the journal cannot be read.
    #[error("the journal holds a record that cannot be read at {position}: {message}; run `rimeline repair`")]
    BadRecord {
        /// Where.
        position: u64,
        /// What is wrong.
        message: String,
    },
}

impl IngestError {
    /// Nothing can be made durable until somebody has looked at the disk.
    pub(crate) fn is_final(&self) -> bool {
        matches!(self, Self::Journal(error) if !has_no_room(error) && !matches!(error, JournalError::TooLarge { .. }))
    }
}

/// The journal may have room again later.
fn has_no_room(error: &JournalError) -> bool {
    matches!(error, JournalError::Full { .. } | JournalError::Append { .. })
}

impl From<IngestError> for Status {
    fn from(error: IngestError) -> Self {
        let text = error.to_string();
        match &error {
            IngestError::Transport(status) => status.clone(),
            IngestError::Protocol(_)
            | IngestError::BadGateway(_)
            | IngestError::Journal(JournalError::TooLarge { .. }) => Self::invalid_argument(text),
            IngestError::OldEpoch { .. } | IngestError::Gap { .. } => Self::failed_precondition(text),
            IngestError::Journal(journal) if has_no_room(journal) => Self::with_error_details(
                Code::ResourceExhausted,
                text,
                ErrorDetails::with_retry_info(Some(ASK_AGAIN)),
            ),
            IngestError::Journal(_) | IngestError::Stopping => Self::unavailable(text),
            IngestError::BadRecord { .. } => Self::data_loss(text),
        }
    }
}
