use std::sync::Arc;

use bytes::Bytes;

use crate::archive::Writer;
use crate::arrange;
use crate::decode::Decoder;
use crate::manifest::DataFile;
use crate::partition::{Dataset, Day, Partition};
use crate::rows::Rows;
use crate::{Archive, ArchiveError, Options, Store};

/// What a merge did.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Merged {
    /// Files that were replaced.
    pub replaced: usize,
    /// Files that replaced them.
    pub files: usize,
    /// Rows in those.
    pub rows: u64,
    /// Rows left out because an older file held the same unit and time.
    pub duplicates: u64,
    /// Length of the files before.
    pub bytes_before: u64,
    /// Length of the files after.
    pub bytes_after: u64,
}

/// What a removal of old days did.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Removed {
    /// Files.
    pub files: usize,
    /// Rows in them.
    pub rows: u64,
    /// Their length together.
    pub bytes: u64,
}

impl Archive {
    /// Partitions that hold [`Options::merge_files`] files of one level.
    pub fn merge_due(&self) -> Vec<Partition> {
        let snapshot = self.snapshot();
        let due = snapshot.partitions().filter(|(_, files)| !level_to_merge(files, &self.options).is_empty());
        due.map(|(partition, _)| *partition).collect()
    }

    /// Partitions of days before `day` that [`Archive::compact`] can bring into fewer files.
    pub fn compact_due(&self, day: Day) -> Vec<Partition> {
        let snapshot = self.snapshot();
        let old = snapshot.partitions().filter(|(partition, _)| partition.day < day);
        let due = old.filter(|(_, files)| !groups(files, self.options.merge_rows).is_empty());
        due.map(|(partition, _)| *partition).collect()
    }

    /// Rewrites the files of the lowest level that has enough of them as one. Nothing happens where none has.
    ///
    /// Merging level by level writes a row about once for each factor of [`Options::merge_files`] between a flush and
    /// a full file, and not once for each flush.
    pub fn merge(&self, partition: Partition) -> Result<Merged, ArchiveError> {
        let mut writer = self.writer();
        self.usable(&mut writer)?;
        let files = level_to_merge(self.snapshot().partition(&partition), &self.options);
        let mut merged = Merged::default();
        if !files.is_empty() {
            self.merge_files(&mut writer, partition, &files, &mut merged)?;
        }
        Ok(merged)
    }

    /// Rewrites all files of a partition as one, or as few as [`Options::merge_rows`] allows. For days that are over.
    pub fn compact(&self, partition: Partition) -> Result<Merged, ArchiveError> {
        let mut writer = self.writer();
        self.usable(&mut writer)?;
        let mut merged = Merged::default();
        for files in groups(self.snapshot().partition(&partition), self.options.merge_rows) {
            self.merge_files(&mut writer, partition, &files, &mut merged)?;
        }
        Ok(merged)
    }

    /// Forgets and removes every file of the days before `day`.
    ///
    /// The caller takes `day` from a clock, never from the newest reading: one row from the far future must not empty
    /// an archive.
    pub fn remove_before(&self, day: Day) -> Result<Removed, ArchiveError> {
        let mut writer = self.writer();
        self.usable(&mut writer)?;
        let snapshot = self.snapshot();
        let old: Vec<DataFile> =
            snapshot.files().filter(|f| f.partition.day < day).map(|f| f.as_ref().clone()).collect();
        let removed = Removed {
            files: old.len(),
            rows: old.iter().map(|f| f.rows).sum(),
            bytes: old.iter().map(|f| f.bytes).sum(),
        };
        if !old.is_empty() {
            self.commit(&mut writer, snapshot.position(), Vec::new(), old)?;
        }
        Ok(removed)
    }

    fn merge_files(
        &self,
        writer: &mut Writer,
        partition: Partition,
        files: &[Arc<DataFile>],
        merged: &mut Merged,
    ) -> Result<(), ArchiveError> {
        let snapshot = self.snapshot();
        let mut rows = Rows::default();
        for file in files {
            load(self.store.as_ref(), file, &mut rows)?;
        }
        rows.span = files.first().zip(files.last()).map(|(oldest, newest)| (oldest.first, newest.last));
        let arranged = arrange::dataset(&rows, partition.dataset, snapshot.buckets());
        let level = files.iter().map(|f| f.level).max().unwrap_or_default().saturating_add(1);
        let [run] = arranged.runs.as_slice() else {
            return Err(misplaced(partition, files));
        };
        if run.0 != partition {
            return Err(misplaced(partition, files));
        }
        let one = self.write_file(writer, &rows, &arranged, run, level)?;
        merged.replaced += files.len();
        merged.files += 1;
        merged.rows += one.rows;
        merged.duplicates += arranged.duplicates;
        merged.bytes_before += files.iter().map(|f| f.bytes).sum::<u64>();
        merged.bytes_after += one.bytes;
        let removed = files.iter().map(|f| f.as_ref().clone()).collect();
        self.commit(writer, snapshot.position(), vec![one], removed)
    }
}

fn misplaced(partition: Partition, files: &[Arc<DataFile>]) -> ArchiveError {
    let what = format!("it or a later file holds rows that do not belong to {partition}");
    ArchiveError::Foreign { file: files.first().map_or_else(String::new, |f| f.path.clone()), what }
}

/// Reads a data file into rows, after those that are there.
pub(crate) fn load(store: &dyn Store, file: &DataFile, rows: &mut Rows) -> Result<(), ArchiveError> {
    let bytes = Bytes::from(store.get(&file.path)?);
    if crc32c::crc32c(&bytes) != file.crc32c {
        let what = "its checksum is not the one in the manifest".to_owned();
        return Err(ArchiveError::Damaged { file: file.path.clone(), what });
    }
    let mut decoder = Decoder::new(&file.path, rows);
    match file.partition.dataset {
        Dataset::Readings => decoder.readings(bytes),
        Dataset::Events => decoder.events(bytes),
    }
}

/// The oldest files of the lowest level that has enough, up to the rows that a merge may hold; else none.
fn level_to_merge(files: &[Arc<DataFile>], options: &Options) -> Vec<Arc<DataFile>> {
    let mut levels: Vec<u8> = files.iter().map(|f| f.level).collect();
    levels.sort_unstable();
    levels.dedup();
    for level in levels {
        let same: Vec<_> = files.iter().filter(|f| f.level == level).cloned().collect();
        if same.len() >= options.merge_files
            && let Some(group) = groups(&same, options.merge_rows).into_iter().next()
        {
            return group;
        }
    }
    Vec::new()
}

/// Splits files in order of age into groups of two or more that hold at most `most` rows.
fn groups(files: &[Arc<DataFile>], most: u64) -> Vec<Vec<Arc<DataFile>>> {
    let mut groups: Vec<Vec<Arc<DataFile>>> = Vec::new();
    let mut rows = 0;
    for file in files {
        match groups.last_mut() {
            Some(group) if rows + file.rows <= most => {
                group.push(file.clone());
                rows += file.rows;
            }
            _ => {
                groups.push(vec![file.clone()]);
                rows = file.rows;
            }
        }
    }
    groups.retain(|group| group.len() > 1);
    groups
}
