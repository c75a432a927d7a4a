use rimeline_channels::Id;
use rusqlite::types::Type;
use serde::{Serialize, de::DeserializeOwned};

use crate::CasebookError;

/// Says what was being done when a store failed.
pub(super) trait Fail<T> {
    fn fail(self, doing: &'static str) -> Result<T, CasebookError>;
}

impl<T, E: std::error::Error + Send + Sync + 'static> Fail<T> for Result<T, E> {
    fn fail(self, doing: &'static str) -> Result<T, CasebookError> {
        self.map_err(|source| CasebookError::Store { doing, source: Box::new(source) })
    }
}

/// A value as it is written down.
pub(super) fn write<T: Serialize>(value: &T) -> Result<String, CasebookError> {
    serde_json::to_string(value).fail("putting a value into words")
}

/// A value that was written down by [`write`]; `what` names it to a person.
pub(super) fn read<T: DeserializeOwned>(
    text: &str,
    what: impl FnOnce() -> String,
) -> Result<T, CasebookError> {
    serde_json::from_str(text)
        .map_err(|source| CasebookError::Damaged { what: what(), source: Box::new(source) })
}

/// An id that was written down.
pub(super) fn id(text: &str) -> Result<Id, CasebookError> {
    Id::new(text)
        .map_err(|source| CasebookError::Damaged { what: "a name".to_owned(), source: Box::new(source) })
}

/// A column that holds what it cannot.
pub(super) fn damaged(what: &str) -> CasebookError {
    let source = rusqlite::Error::InvalidColumnType(0, what.to_owned(), Type::Integer);
    CasebookError::Damaged { what: what.to_owned(), source: Box::new(source) }
}
