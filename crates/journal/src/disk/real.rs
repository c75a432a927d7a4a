use std::fs::{self, File, OpenOptions, TryLockError};
use std::io;
use std::os::unix::fs::FileExt;
use std::path::Path;
use std::sync::Arc;

use super::{Disk, DiskFile};

/// The machine's file system.
#[derive(Clone, Copy, Debug, Default)]
pub struct RealDisk;

impl Disk for RealDisk {
    fn create_dir(&self, dir: &Path) -> io::Result<()> {
        if dir.is_dir() {
            return Ok(());
        }
        let parent = match dir.parent() {
            Some(parent) if !parent.as_os_str().is_empty() => parent,
            _ => Path::new("."),
        };
        self.create_dir(parent)?;
        match fs::create_dir(dir) {
            Err(e) if e.kind() == io::ErrorKind::AlreadyExists && dir.is_dir() => Ok(()),
            other => other,
        }?;
        self.sync_dir(parent)
    }

    fn list(&self, dir: &Path) -> io::Result<Vec<String>> {
        fs::read_dir(dir)?.map(|entry| Ok(entry?.file_name().to_string_lossy().into_owned())).collect()
    }

    fn lock(&self, path: &Path) -> io::Result<Box<dyn Send>> {
        let file = OpenOptions::new().write(true).create(true).truncate(false).open(path)?;
        match file.try_lock() {
            Ok(()) => Ok(Box::new(file)),
            Err(TryLockError::WouldBlock) => Err(io::ErrorKind::WouldBlock.into()),
            Err(TryLockError::Error(e)) => Err(e),
        }
    }

    fn create(&self, path: &Path) -> io::Result<Arc<dyn DiskFile>> {
        let file = OpenOptions::new().read(true).write(true).create(true).truncate(true).open(path)?;
        Ok(Arc::new(RealFile(file)))
    }

    fn open(&self, path: &Path) -> io::Result<Arc<dyn DiskFile>> {
        Ok(Arc::new(RealFile(OpenOptions::new().read(true).write(true).open(path)?)))
    }

    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        fs::rename(from, to)
    }

    fn unlink(&self, path: &Path) -> io::Result<()> {
        fs::remove_file(path)
    }

    fn sync_dir(&self, dir: &Path) -> io::Result<()> {
        File::open(dir)?.sync_all()
    }
}

struct RealFile(File);

impl DiskFile for RealFile {
    fn size(&self) -> io::Result<u64> {
        Ok(self.0.metadata()?.len())
    }

    fn read_at(&self, buffer: &mut [u8], offset: u64) -> io::Result<()> {
        self.0.read_exact_at(buffer, offset)
    }

    fn write_at(&self, bytes: &[u8], offset: u64) -> io::Result<()> {
        self.0.write_all_at(bytes, offset)
    }

    fn truncate(&self, size: u64) -> io::Result<()> {
        self.0.set_len(size)
    }

    fn sync_data(&self) -> io::Result<()> {
        self.0.sync_data()
    }

    fn sync_all(&self) -> io::Result<()> {
        self.0.sync_all()
    }
}
