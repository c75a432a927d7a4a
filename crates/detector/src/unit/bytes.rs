use super::UnitState;

/// Bytes that are no unit state of this version.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum StateError {
    /// Written by another version.
    #[error(
        "the detector state is of version {found}, this program reads version {known}; rebuild it from history"
    )]
    Version {
        /// The version found.
        found: u8,
        /// The version this program writes.
        known: u8,
    },
    /// Cut short or damaged.
    #[error("the detector state is damaged ({0}); rebuild it from history")]
    Damaged(String),
}

/// Version of the bytes of [`UnitState`].
const VERSION: u8 = 1;

impl UnitState {
    /// The state as bytes, with their version first.
    pub fn to_bytes(&self) -> Vec<u8> {
        // Serialising plain numbers into memory cannot fail; an empty tail would be refused when read.
        let mut bytes = vec![VERSION];
        bytes.extend(postcard::to_allocvec(self).unwrap_or_default());
        bytes
    }

    /// The state from bytes of [`UnitState::to_bytes`].
    pub fn from_bytes(bytes: &[u8]) -> Result<Self, StateError> {
        match bytes {
            [] => Err(StateError::Damaged("no bytes".to_owned())),
            [VERSION, rest @ ..] => {
                postcard::from_bytes(rest).map_err(|e| StateError::Damaged(e.to_string()))
            }
            [found, ..] => Err(StateError::Version { found: *found, known: VERSION }),
        }
    }
}
