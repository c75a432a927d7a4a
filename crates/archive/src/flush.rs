use std::ops::Range;
use std::sync::Arc;

use crate::archive::Writer;
use crate::arrange::{self, Arranged};
use crate::manifest::{self, DataFile, FORMAT, Record};
use crate::partition::{Dataset, Partition};
use crate::rows::Rows;
use crate::{Archive, ArchiveError, encode};

/// What a flush wrote.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Flushed {
    /// Files.
    pub files: usize,
    /// Rows in them.
    pub rows: u64,
    /// Rows left out because the same unit and time came before.
    pub duplicates: u64,
    /// Their length together.
    pub bytes: u64,
}

impl Archive {
    /// Writes everything buffered, and records that the files hold all that lies before `position`.
    ///
    /// After an error of the store the rows are still buffered and the flush may be tried again, unless the manifest
    /// itself failed: then every further write is [`ArchiveError::Stopped`] until the archive is opened anew.
    pub fn flush(&self, position: u64) -> Result<Flushed, ArchiveError> {
        let mut writer = self.writer();
        self.usable(&mut writer)?;
        let rows = {
            let mut shared = self.shared();
            let needed = shared.active.span.map_or(0, |s| s.1 + 1).max(shared.snapshot.position());
            if position < needed {
                return Err(ArchiveError::Order { given: position, reached: needed });
            }
            if position == shared.snapshot.position() && shared.active.total() == 0 {
                return Ok(Flushed::default());
            }
            let room = std::mem::take(&mut shared.spare);
            let rows = Arc::new(std::mem::replace(&mut shared.active, room));
            shared.flushing = Some(rows.clone());
            rows
        };
        let (files, duplicates) = match self.write_rows(&mut writer, &rows) {
            Ok(written) => written,
            Err(error) => {
                self.take_back(rows);
                return Err(error);
            }
        };
        let flushed = Flushed {
            files: files.len(),
            rows: files.iter().map(|f| f.rows).sum(),
            duplicates,
            bytes: files.iter().map(|f| f.bytes).sum(),
        };
        self.commit(&mut writer, position, files, Vec::new())?;
        self.keep_room(rows);
        Ok(flushed)
    }

    fn write_rows(&self, writer: &mut Writer, rows: &Rows) -> Result<(Vec<DataFile>, u64), ArchiveError> {
        let buckets = self.snapshot().buckets();
        let mut files = Vec::new();
        let mut duplicates = 0;
        for dataset in Dataset::ALL {
            let arranged = arrange::dataset(rows, dataset, buckets);
            duplicates += arranged.duplicates;
            for run in &arranged.runs {
                files.push(self.write_file(writer, rows, &arranged, run, 0)?);
            }
        }
        Ok((files, duplicates))
    }

    /// Writes one partition's share of `rows`. Until a record names the file, it is a stray.
    pub(crate) fn write_file(
        &self,
        writer: &mut Writer,
        rows: &Rows,
        arranged: &Arranged,
        (partition, range): &(Partition, Range<usize>),
        level: u8,
    ) -> Result<DataFile, ArchiveError> {
        let (first, last) = rows.span.unwrap_or_default();
        let path = partition.key(first, last);
        let order = &arranged.order[range.clone()];
        let encoded = match partition.dataset {
            Dataset::Readings => encode::readings(rows, order, first, last),
            Dataset::Events => encode::events(rows, order, first, last),
        };
        let encoded = encoded.map_err(|source| ArchiveError::Parquet { file: path.clone(), source })?;
        writer.strays.push(path.clone());
        self.store.put(&path, &encoded.bytes)?;
        let facts = arrange::facts(rows, partition.dataset, order);
        Ok(DataFile {
            path,
            partition: *partition,
            level,
            rows: order.len() as u64,
            bytes: encoded.bytes.len() as u64,
            min_time: facts.min_time,
            max_time: facts.max_time,
            min_unit: facts.min_unit.to_string(),
            max_unit: facts.max_unit.to_string(),
            units: facts.units,
            first,
            last,
            channels: encoded.channels,
            crc32c: crc32c::crc32c(&encoded.bytes),
        })
    }

    /// Makes a change durable and shows it to readers.
    pub(crate) fn commit(
        &self,
        writer: &mut Writer,
        position: u64,
        added: Vec<DataFile>,
        removed: Vec<DataFile>,
    ) -> Result<(), ArchiveError> {
        let record = Record { format: FORMAT, number: self.snapshot().record + 1, position, added, removed };
        if let Err(error) = manifest::commit(self.store.as_ref(), &record) {
            writer.stopped = Some(error.to_string());
            return Err(error);
        }
        let snapshot = {
            let mut shared = self.shared();
            Arc::make_mut(&mut shared.snapshot).apply(&record);
            shared.flushing = None;
            shared.snapshot.clone()
        };
        writer.strays.retain(|path| record.added.iter().all(|f| f.path != *path));
        writer.strays.extend(record.removed.into_iter().map(|f| f.path));
        self.remove_strays(writer);
        if snapshot.record - writer.summed >= manifest::RECORDS_PER_SUMMARY {
            match manifest::summarise(self.store.as_ref(), &snapshot) {
                Ok(()) => writer.summed = snapshot.record,
                Err(error) => {
                    tracing::warn!(%error, "the manifest keeps its records for now; the next flush tries again");
                }
            }
        }
        Ok(())
    }

    /// Keeps the room of flushed rows for the next ones, unless it is out of proportion.
    fn keep_room(&self, rows: Arc<Rows>) {
        let usual = 2 * self.options.flush_rows;
        if let Some(mut rows) = Arc::into_inner(rows).filter(|rows| rows.total() <= usual) {
            rows.clear();
            self.shared().spare = rows;
        }
    }

    /// Puts rows back that could not be written.
    fn take_back(&self, rows: Arc<Rows>) {
        let mut shared = self.shared();
        shared.flushing = None;
        let newer = std::mem::take(&mut shared.active);
        shared.active = Arc::unwrap_or_clone(rows);
        shared.active.extend(&newer);
    }

    /// Refuses where the manifest is in doubt, and removes what earlier failures left.
    pub(crate) fn usable(&self, writer: &mut Writer) -> Result<(), ArchiveError> {
        if let Some(why) = &writer.stopped {
            return Err(ArchiveError::Stopped { place: self.store.place(), why: why.clone() });
        }
        self.remove_strays(writer);
        Ok(())
    }

    fn remove_strays(&self, writer: &mut Writer) {
        writer.strays.retain(|path| match self.store.delete(path) {
            Ok(()) => false,
            Err(error) => {
                tracing::warn!(%error, path, "a file that is no longer needed stays until the next flush");
                true
            }
        });
    }
}
