use std::sync::Arc;

use rimeline_casebook::{Casebook, CasebookError, FieldError};
use tonic::{Code, Status};

/// Asks the casebook where blocking is allowed, and answers as the contract does.
pub async fn ask<T: Send + 'static>(
    casebook: &Arc<dyn Casebook>,
    question: impl FnOnce(&dyn Casebook) -> Result<T, CasebookError> + Send + 'static,
) -> Result<T, Status> {
    let casebook = Arc::clone(casebook);
    let answer = tokio::task::spawn_blocking(move || question(casebook.as_ref()));
    match answer.await {
        Ok(answer) => answer.map_err(|error| status(&error)),
        Err(_) => Err(Status::unavailable("the server is stopping; ask again")),
    }
}

/// What the casebook's trouble is called in the contract.
pub fn status(error: &CasebookError) -> Status {
    let code = match error {
        CasebookError::UnknownCase(_) => Code::NotFound,
        CasebookError::Invalid(_) => Code::InvalidArgument,
        CasebookError::TooManyActions { .. } => Code::FailedPrecondition,
        CasebookError::TooLarge { .. } => Code::Internal,
        CasebookError::Store { .. } => Code::Unavailable,
        CasebookError::Damaged { .. } | CasebookError::Newer => Code::DataLoss,
    };
    if matches!(code, Code::Unavailable | Code::DataLoss) {
        tracing::error!(%error, source = ?std::error::Error::source(error), "the casebook failed");
    }
    Status::new(code, error.to_string())
}

/// A field that cannot be taken.
pub fn refused(error: &FieldError) -> Status {
    Status::invalid_argument(error.to_string())
}
