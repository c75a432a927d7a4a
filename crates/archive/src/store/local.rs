use std::fs::{self, File, OpenOptions, TryLockError};
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::ops::Range;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};

use super::{Claim, Listed, Store, StoreError};

/// Half-written files live here, out of the way of anyone who lists the data.
const STAGING: &str = "tmp";
const LOCK: &str = "writer.lock";

/// A directory as a store.
///
/// An object is written to `tmp/`, synced, renamed into place, and its directory synced, so a key names a whole
/// object or none. A directory made on the way is synced into its parent as well.
#[derive(Debug)]
pub struct LocalStore {
    root: PathBuf,
    staged: AtomicU64,
}

#[derive(Debug)]
struct LockFile {
    /// Unlocked by the operating system when closed, so a killed writer leaves no lock behind.
    _file: File,
}

impl Claim for LockFile {}

impl LocalStore {
    /// A store in `root`, which is made where it does not exist.
    pub fn new(root: impl Into<PathBuf>) -> Result<Self, StoreError> {
        let root = root.into();
        let store = Self { root, staged: AtomicU64::new(0) };
        let shown = store.root.display().to_string();
        make_directories(&store.root).map_err(|e| fail("make directory", &shown, e))?;
        Ok(store)
    }

    /// The directory.
    pub fn root(&self) -> &Path {
        &self.root
    }

    fn path(&self, key: &str) -> Result<PathBuf, StoreError> {
        let plain =
            key.split('/').all(|part| !matches!(part, "" | "." | "..") && !part.contains(['\\', '\0']));
        if plain {
            Ok(self.root.join(key))
        } else {
            Err(fail("use as a key", key, io::ErrorKind::InvalidInput.into()))
        }
    }

    /// Writes and syncs a file that nobody else knows yet.
    fn stage(&self, key: &str, bytes: &[u8]) -> Result<PathBuf, StoreError> {
        let directory = self.root.join(STAGING);
        make_directories(&directory).map_err(|e| fail("make a directory for", key, e))?;
        let number = self.staged.fetch_add(1, Ordering::Relaxed);
        let path = directory.join(format!("{}-{number}", std::process::id()));
        let written = File::create(&path).and_then(|mut file| {
            file.write_all(bytes)?;
            file.sync_all()
        });
        match written {
            Ok(()) => Ok(path),
            Err(error) => {
                let _ = fs::remove_file(&path);
                Err(fail("write", key, error))
            }
        }
    }

    fn place_into(
        &self,
        key: &str,
        bytes: &[u8],
        place: impl FnOnce(&Path, &Path) -> io::Result<()>,
    ) -> Result<(), StoreError> {
        let target = self.path(key)?;
        let directory = target.parent().unwrap_or(&self.root);
        let staged = self.stage(key, bytes)?;
        let placed = make_directories(directory)
            .and_then(|()| place(&staged, &target))
            .and_then(|()| sync_directory(directory));
        placed.map_err(|error| {
            let _ = fs::remove_file(&staged);
            if error.kind() == io::ErrorKind::AlreadyExists {
                StoreError::Exists(key.to_owned())
            } else {
                fail("put in place", key, error)
            }
        })
    }
}

impl Store for LocalStore {
    fn put(&self, key: &str, bytes: &[u8]) -> Result<(), StoreError> {
        self.place_into(key, bytes, |staged, target| fs::rename(staged, target))
    }

    fn put_new(&self, key: &str, bytes: &[u8]) -> Result<(), StoreError> {
        // A hard link, unlike a rename, fails where the name is taken.
        self.place_into(key, bytes, |staged, target| {
            fs::hard_link(staged, target)?;
            fs::remove_file(staged)
        })
    }

    fn get(&self, key: &str) -> Result<Vec<u8>, StoreError> {
        fs::read(self.path(key)?).map_err(|e| fail("read", key, e))
    }

    fn get_range(&self, key: &str, range: Range<u64>) -> Result<Vec<u8>, StoreError> {
        let read = || -> io::Result<Vec<u8>> {
            let mut file = File::open(self.root.join(key))?;
            file.seek(SeekFrom::Start(range.start))?;
            let mut bytes = vec![0; range.end.saturating_sub(range.start) as usize];
            file.read_exact(&mut bytes)?;
            Ok(bytes)
        };
        self.path(key)?;
        read().map_err(|e| fail("read", key, e))
    }

    fn size(&self, key: &str) -> Result<Option<u64>, StoreError> {
        match fs::metadata(self.path(key)?) {
            Ok(metadata) => Ok(Some(metadata.len())),
            Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(None),
            Err(error) => Err(fail("look at", key, error)),
        }
    }

    fn list(&self, prefix: &str) -> Result<Vec<Listed>, StoreError> {
        let mut found = Vec::new();
        let mut open = vec![(self.path(prefix)?, prefix.to_owned())];
        while let Some((path, key)) = open.pop() {
            let entries = match fs::read_dir(&path) {
                Ok(entries) => entries,
                Err(error) if error.kind() == io::ErrorKind::NotFound => continue,
                Err(error) => return Err(fail("list", &key, error)),
            };
            for entry in entries {
                let entry = entry.map_err(|e| fail("list", &key, e))?;
                let child = format!("{key}/{}", entry.file_name().to_string_lossy());
                let metadata = match entry.metadata() {
                    Ok(metadata) => metadata,
                    // Removed between the listing and the look.
                    Err(error) if error.kind() == io::ErrorKind::NotFound => continue,
                    Err(error) => return Err(fail("look at", &child, error)),
                };
                if metadata.is_dir() {
                    open.push((entry.path(), child));
                } else {
                    found.push(Listed { key: child, size: metadata.len() });
                }
            }
        }
        found.sort();
        Ok(found)
    }

    fn delete(&self, key: &str) -> Result<(), StoreError> {
        match fs::remove_file(self.path(key)?) {
            Err(error) if error.kind() != io::ErrorKind::NotFound => Err(fail("remove", key, error)),
            _ => Ok(()),
        }
    }

    fn claim(&self) -> Result<Box<dyn Claim>, StoreError> {
        let open = OpenOptions::new().create(true).truncate(false).write(true).open(self.root.join(LOCK));
        let file = open.map_err(|e| fail("open", LOCK, e))?;
        match file.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => return Err(StoreError::Claimed(self.place())),
            Err(TryLockError::Error(error)) => return Err(fail("lock", LOCK, error)),
        }
        for left in self.list(STAGING)? {
            self.delete(&left.key)?;
        }
        Ok(Box::new(LockFile { _file: file }))
    }

    fn local_path(&self, key: &str) -> Option<PathBuf> {
        self.path(key).ok()
    }

    fn place(&self) -> String {
        self.root.display().to_string()
    }
}

fn fail(action: &'static str, key: &str, source: io::Error) -> StoreError {
    if source.kind() == io::ErrorKind::NotFound && action == "read" {
        return StoreError::Missing(key.to_owned());
    }
    StoreError::Io { action, key: key.to_owned(), source }
}

/// Makes a directory and those above it, each synced into its parent.
fn make_directories(path: &Path) -> io::Result<()> {
    if path.is_dir() {
        return Ok(());
    }
    let parent = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    make_directories(parent)?;
    match fs::create_dir(path) {
        Err(error) if error.kind() != io::ErrorKind::AlreadyExists => Err(error),
        _ => sync_directory(parent),
    }
}

fn sync_directory(path: &Path) -> io::Result<()> {
    File::open(path)?.sync_all()
}
