//! Where the archive's bytes live: a few whole-object operations that a directory and an object store both can do.

mod local;

use std::fmt::Debug;
use std::ops::Range;
use std::path::PathBuf;

pub use local::LocalStore;

/// A place for objects under keys such as `readings/day=2026-01-31/bucket=03/00.parquet`.
///
/// A key is relative, has `/` between its parts and no part that is empty, `.` or `..`.
pub trait Store: Send + Sync + Debug {
    /// Writes an object so that it is there whole or not at all, also after a power cut, and replaces one of the
    /// same key.
    fn put(&self, key: &str, bytes: &[u8]) -> Result<(), StoreError>;

    /// As [`Store::put`], but an object of that key that is there already is [`StoreError::Exists`]: of two writers
    /// one wins.
    fn put_new(&self, key: &str, bytes: &[u8]) -> Result<(), StoreError>;

    /// Reads an object whole. None there: [`StoreError::Missing`].
    fn get(&self, key: &str) -> Result<Vec<u8>, StoreError>;

    /// Reads a part of an object; one that ends before the range does is [`StoreError::Io`].
    fn get_range(&self, key: &str, range: Range<u64>) -> Result<Vec<u8>, StoreError>;

    /// Bytes of an object, `None` where there is none.
    fn size(&self, key: &str) -> Result<Option<u64>, StoreError>;

    /// Every object whose key begins with `prefix` followed by `/`, sorted by key.
    fn list(&self, prefix: &str) -> Result<Vec<Listed>, StoreError>;

    /// Removes an object; one that is not there is no error.
    fn delete(&self, key: &str) -> Result<(), StoreError>;

    /// Takes the right to write until the claim is dropped or the process ends, and clears what an earlier writer
    /// left half-written. [`StoreError::Claimed`] where another writer has it.
    fn claim(&self) -> Result<Box<dyn Claim>, StoreError>;

    /// The file that holds an object, where the store keeps objects as local files.
    fn local_path(&self, key: &str) -> Option<PathBuf>;

    /// The store's name for people: a directory or an address.
    fn place(&self) -> String;
}

/// The right to write to a store.
pub trait Claim: Send + Sync + Debug {}

/// An object in a listing.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Listed {
    /// Its key.
    pub key: String,
    /// Its length in bytes.
    pub size: u64,
}

/// Why a store did not do as asked.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// No such object.
    #[error("{0} is not there")]
    Missing(String),
    /// An object of that key is there already.
    #[error("{0} is there already; another writer may be at work in the same place")]
    Exists(String),
    /// Another writer has the place.
    #[error("another process writes to {0}; stop it, or give this one a directory of its own")]
    Claimed(String),
    /// The operating system or the network said no.
    #[error("cannot {action} {key}: {source}")]
    Io {
        /// What was tried.
        action: &'static str,
        /// On which object.
        key: String,
        /// What came back.
        source: std::io::Error,
    },
}
