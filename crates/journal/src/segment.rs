//! How a segment comes into being.

use std::path::Path;
use std::sync::Arc;

use crate::JournalError;
use crate::disk::{Disk, DiskFile};
use crate::error::Doing;
use crate::format::Header;
use crate::layout::{segment_path, temporary};

/// Creates a segment without frames, whole or not at all.
///
/// Where a sync fails the error is [`JournalError::Stopped`], else [`JournalError::Append`].
pub(crate) fn create(
    disk: &dyn Disk,
    dir: &Path,
    header: &Header,
) -> Result<Arc<dyn DiskFile>, JournalError> {
    let path = segment_path(dir, header.start);
    let draft = temporary(&path);
    let file = disk.create(&draft).appending("create", &draft)?;
    file.write_at(&header.encode(), 0).appending("write to", &draft)?;
    file.sync_all().map_err(|e| JournalError::stopped("sync", &draft, &e))?;
    disk.rename(&draft, &path).appending("put in place", &path)?;
    disk.sync_dir(dir).map_err(|e| JournalError::stopped("sync", dir, &e))?;
    Ok(file)
}
