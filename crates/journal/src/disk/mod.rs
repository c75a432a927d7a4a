//! The file system as an argument.
//!
//! The journal does all its input and output through [`Disk`], so that the same code runs on a real disk and on one
//! that forgets, fails or loses power on demand.

mod real;

use std::io;
use std::path::Path;
use std::sync::Arc;

pub use real::RealDisk;

/// What a journal asks of a file system. Nothing is on disk until a sync says so: contents by [`DiskFile::sync_data`] or
/// [`DiskFile::sync_all`], names by [`Disk::sync_dir`].
pub trait Disk: Send + Sync + 'static {
    /// Makes a directory and its parents, on disk on return; nothing where it exists.
    fn create_dir(&self, dir: &Path) -> io::Result<()>;
    /// The names in a directory.
    fn list(&self, dir: &Path) -> io::Result<Vec<String>>;
    /// Takes a lock that lasts as long as what is returned; `WouldBlock` where someone has it.
    fn lock(&self, path: &Path) -> io::Result<Box<dyn Send>>;
    /// Opens an empty file for reading and writing, emptied where it exists.
    fn create(&self, path: &Path) -> io::Result<Arc<dyn DiskFile>>;
    /// Opens a file for reading and writing.
    fn open(&self, path: &Path) -> io::Result<Arc<dyn DiskFile>>;
    /// Renames a file, replacing what has the new name.
    fn rename(&self, from: &Path, to: &Path) -> io::Result<()>;
    /// Removes a file.
    fn unlink(&self, path: &Path) -> io::Result<()>;
    /// Makes the names in a directory last.
    fn sync_dir(&self, dir: &Path) -> io::Result<()>;
}

/// An open file.
pub trait DiskFile: Send + Sync + 'static {
    /// Its length in bytes.
    fn size(&self) -> io::Result<u64>;
    /// Fills `buffer` from `offset` on; an error where the file is shorter.
    fn read_at(&self, buffer: &mut [u8], offset: u64) -> io::Result<()>;
    /// Writes all of `bytes` at `offset`. After an error any part of them may have been written.
    fn write_at(&self, bytes: &[u8], offset: u64) -> io::Result<()>;
    /// Cuts the file, or extends it by zeros.
    fn truncate(&self, size: u64) -> io::Result<()>;
    /// Makes the contents last, and the length where the file has grown.
    fn sync_data(&self) -> io::Result<()>;
    /// Makes the contents and the length last.
    fn sync_all(&self) -> io::Result<()>;
}
