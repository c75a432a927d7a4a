//! Where the journal starts, and how far it certainly reached.
//!
//! `RIMECKPT`, format, id, start, durable end, checksum; see [`crate::format`] for the envelope. The file is replaced
//! as a whole: written under another name, synced, renamed, directory synced.

use std::path::Path;

use bytes::{Buf, BufMut};

use crate::JournalError;
use crate::disk::Disk;
use crate::error::Doing;
use crate::format::{BadHeader, FORMAT, open_envelope};
use crate::layout::{CHECKPOINT, temporary};

const MAGIC: [u8; 8] = *b"RIMECKPT";
const BYTES: usize = 40;

/// Written when a journal is created, trimmed or closed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Checkpoint {
    pub id: u64,
    /// What is before this is gone or about to go.
    pub start: u64,
    /// Everything before this was on disk. Usually there is more.
    pub durable: u64,
}

impl Checkpoint {
    pub(crate) fn write(&self, disk: &dyn Disk, dir: &Path) -> Result<(), JournalError> {
        let mut bytes = Vec::with_capacity(BYTES);
        bytes.put_slice(&MAGIC);
        bytes.put_u32_le(FORMAT);
        bytes.put_u64_le(self.id);
        bytes.put_u64_le(self.start);
        bytes.put_u64_le(self.durable);
        bytes.put_u32_le(crc32c::crc32c(&bytes));

        let path = dir.join(CHECKPOINT);
        let draft = temporary(&path);
        let file = disk.create(&draft).doing("create", &draft)?;
        file.write_at(&bytes, 0).doing("write", &draft)?;
        file.sync_all().doing("sync", &draft)?;
        disk.rename(&draft, &path).doing("put in place", &path)?;
        disk.sync_dir(dir).doing("sync", dir)
    }

    /// Reads the file; `Ok(Err(_))` where it is there and says nothing.
    pub(crate) fn read(disk: &dyn Disk, dir: &Path) -> Result<Result<Self, BadHeader>, JournalError> {
        let path = dir.join(CHECKPOINT);
        let file = disk.open(&path).doing("open", &path)?;
        let mut bytes = [0; BYTES];
        if file.size().doing("read", &path)? != BYTES as u64 {
            return Ok(Err(BadHeader::Checksum));
        }
        file.read_at(&mut bytes, 0).doing("read", &path)?;
        Ok(open_envelope(&bytes, MAGIC).map(|mut body| Self {
            id: body.get_u64_le(),
            start: body.get_u64_le(),
            durable: body.get_u64_le(),
        }))
    }
}
