use parquet::file::metadata::ParquetMetaDataReader;

use crate::manifest::{DataFile, Snapshot};
use crate::{Archive, ArchiveError, Store, StoreError, opening};

/// Bytes read at a time.
const CHUNK: u64 = 4 << 20;
/// Length of the footer's length and the closing magic.
const TRAILER: u64 = 8;

/// What a check of every file found.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Verified {
    /// Files that are what the manifest says.
    pub good: usize,
    /// Rows in them.
    pub rows: u64,
    /// Files that are not.
    pub problems: Vec<Problem>,
    /// Data files that the manifest does not name. While the archive is being written to, those of a flush or a merge
    /// under way are among them; otherwise they are what a crash left, and the next start removes them.
    pub strangers: Vec<String>,
}

/// A file that is not what the manifest says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// Its key.
    pub file: String,
    /// What is wrong, in words.
    pub what: String,
}

impl Verified {
    /// True where every named file is good and there is no other.
    pub fn is_clean(&self) -> bool {
        self.problems.is_empty() && self.strangers.is_empty()
    }
}

impl Archive {
    /// Checks length, checksum and footer of every file against the manifest. Reads everything; changes nothing.
    pub fn verify(&self) -> Result<Verified, ArchiveError> {
        // Holds flushes and merges off, so that none of their files counts as a stranger.
        let _writer = self.writer();
        verify(self.store.as_ref(), &self.snapshot())
    }
}

/// As [`Archive::verify`], for an archive that another process may be writing to.
pub fn verify(store: &dyn Store, snapshot: &Snapshot) -> Result<Verified, ArchiveError> {
    let mut verified = Verified::default();
    for file in snapshot.files() {
        match check(store, file)? {
            None => {
                verified.good += 1;
                verified.rows += file.rows;
            }
            Some(what) => verified.problems.push(Problem { file: file.path.clone(), what }),
        }
    }
    let listed = opening::data_files(store)?;
    verified.strangers = opening::strangers(snapshot, &listed).into_iter().map(|l| l.key.clone()).collect();
    Ok(verified)
}

/// What is wrong with a file, if anything. Fails only where the store does.
fn check(store: &dyn Store, file: &DataFile) -> Result<Option<String>, ArchiveError> {
    let size = match store.size(&file.path)? {
        None => return Ok(Some("it is not there".to_owned())),
        Some(size) if size != file.bytes => {
            return Ok(Some(format!("it has {size} bytes and was written with {}", file.bytes)));
        }
        Some(size) => size,
    };
    let mut sum = 0;
    for start in (0..size).step_by(CHUNK as usize) {
        let chunk = match store.get_range(&file.path, start..size.min(start + CHUNK)) {
            Ok(chunk) => chunk,
            Err(StoreError::Missing(_)) => return Ok(Some("it is not there".to_owned())),
            Err(error) => return Err(error.into()),
        };
        sum = crc32c::crc32c_append(sum, &chunk);
    }
    if sum != file.crc32c {
        return Ok(Some("its checksum is not the one it was written with".to_owned()));
    }
    Ok(match footer_rows(store, file)? {
        Err(what) => Some(what),
        Ok(rows) if rows != file.rows as i64 => {
            Some(format!("its footer says {rows} rows and the manifest {}", file.rows))
        }
        Ok(_) => None,
    })
}

fn footer_rows(store: &dyn Store, file: &DataFile) -> Result<Result<i64, String>, ArchiveError> {
    let Some(trailer_at) = file.bytes.checked_sub(TRAILER) else {
        return Ok(Err("it is too short for a footer".to_owned()));
    };
    let trailer = store.get_range(&file.path, trailer_at..file.bytes)?;
    let [a, b, c, d, b'P', b'A', b'R', b'1'] = trailer[..] else {
        return Ok(Err("it does not end as a Parquet file does".to_owned()));
    };
    let length = u64::from(u32::from_le_bytes([a, b, c, d]));
    let Some(footer_at) = trailer_at.checked_sub(length) else {
        return Ok(Err("its footer is longer than the file".to_owned()));
    };
    let footer = store.get_range(&file.path, footer_at..trailer_at)?;
    let decoded = ParquetMetaDataReader::decode_metadata(&footer);
    Ok(decoded.map(|m| m.file_metadata().num_rows()).map_err(|e| format!("its footer is unreadable: {e}")))
}
