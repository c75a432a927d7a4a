use std::time::Duration;

use rimeline_channels::ShapeError;
use rimeline_journal::JournalError;
use tonic::{Code, Status};
use tonic_types::StatusExt;

/// No server may ask for a longer wait than this.
const LONGEST_WAIT: Duration = Duration::from_secs(3600);

/// Why a gateway cannot go on, or not with this batch. Cheap to clone.
#[derive(Clone, Debug, thiserror::Error)]
#[non_exhaustive]
pub enum GatewayError {
    /// A setting that cannot work.
    #[error("gateway setting {field}: {problem}")]
    Config {
        /// The setting.
        field: &'static str,
        /// What is wrong with it.
        problem: String,
    },
    /// The parts of a batch do not fit together. Nothing of it was kept.
    #[error("the batch was not taken: {0}")]
    Shape(#[from] ShapeError),
    /// Something that cannot be cut further does not fit. Nothing of the batch was kept.
    #[error("the batch was not taken: {bytes} bytes are over {limit}; send less at once, or raise the limit")]
    TooLarge {
        /// Bytes needed.
        bytes: usize,
        /// Bytes allowed: an eighth of the spool, or `batch.bytes` for a single call.
        limit: usize,
    },
    /// The spool cannot be read or written. A batch that was being sent was not taken.
    #[error("the gateway's spool: {0}")]
    Spool(#[from] JournalError),
    /// The spool holds something else than batches.
    #[error(
        "the gateway's spool holds a record that is no batch; move the directory aside and start with a new one"
    )]
    ForeignSpool,
    /// The server will not take this however often it is sent.
    #[error("the server refuses this gateway ({code:?}: {message}). {}", advice(*.code))]
    Refused {
        /// The status.
        code: Code,
        /// The server's words.
        message: String,
    },
    /// The server knows batches of this epoch that this gateway never sent.
    #[error(
        "the server holds batches of gateway {gateway}, epoch {epoch}, up to {held}, but only {known} were sent from \
         here. Either another gateway has the same name: give each its own. Or this one lost its spool: start it with \
         a larger epoch"
    )]
    EpochReused {
        /// This gateway.
        gateway: String,
        /// Its epoch.
        epoch: u64,
        /// What the server holds.
        held: u64,
        /// What this gateway can have sent.
        known: u64,
    },
    /// The server did not answer, or not as the contract says; the same call may succeed later.
    #[error(
        "{endpoint} cannot be used now ({code:?}: {message}); check its address and the network, then try again"
    )]
    Unavailable {
        /// The server.
        endpoint: String,
        /// The status.
        code: Code,
        /// What was seen.
        message: String,
        /// How long the server asks to wait.
        retry_after: Option<Duration>,
    },
    /// The gateway was closed or has stopped.
    #[error("the gateway is closed")]
    Closed,
}

impl GatewayError {
    pub(crate) fn config(field: &'static str, problem: impl Into<String>) -> Self {
        Self::Config { field, problem: problem.into() }
    }

    /// What a failed call means for this gateway.
    pub(crate) fn of_call(endpoint: &str, status: &Status) -> Self {
        if is_final(status.code()) {
            return Self::Refused { code: status.code(), message: status.message().to_owned() };
        }
        let asked = status.get_details_retry_info().and_then(|info| info.retry_delay);
        Self::Unavailable {
            endpoint: endpoint.to_owned(),
            code: status.code(),
            message: describe(status),
            retry_after: asked.map(|wait| wait.min(LONGEST_WAIT)),
        }
    }

    /// True where the same thing may succeed later without anyone changing anything.
    pub fn is_retryable(&self) -> bool {
        match self {
            Self::Unavailable { .. } => true,
            Self::Spool(error) => error.is_retryable(),
            _ => false,
        }
    }
}

/// Statuses that sending again cannot cure.
fn is_final(code: Code) -> bool {
    matches!(
        code,
        Code::InvalidArgument
            | Code::NotFound
            | Code::AlreadyExists
            | Code::PermissionDenied
            | Code::Unauthenticated
            | Code::FailedPrecondition
            | Code::OutOfRange
            | Code::Unimplemented
    )
}

fn advice(code: Code) -> &'static str {
    match code {
        Code::PermissionDenied => "Have this gateway's credential allowed to write, or give it another",
        Code::Unauthenticated => "Give the gateway a credential the server knows",
        Code::FailedPrecondition => {
            "Where the epoch is too old, start with a larger one and a new spool directory"
        }
        Code::Unimplemented | Code::NotFound => {
            "Check that the address is a server of this contract, and its version"
        }
        Code::OutOfRange => "Send smaller batches: lower batch.bytes",
        _ => "Correct what the server names; sending it again changes nothing",
    }
}

/// The status and what lies under it: "transport error" alone helps nobody.
fn describe(status: &Status) -> String {
    let mut text = status.message().to_owned();
    let mut source = std::error::Error::source(status);
    while let Some(error) = source {
        let more = error.to_string();
        if !text.contains(&more) {
            text = format!("{text}: {more}");
        }
        source = error.source();
    }
    text
}
