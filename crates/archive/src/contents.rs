use rimeline_channels::{EventKind, Id, Reading, UnixMs};

use crate::rows::Rows;
use crate::{ArchiveError, DataFile, Store, merge};

/// The rows of one data file, read back.
#[derive(Debug)]
pub struct Contents {
    rows: Rows,
}

/// A reading as stored.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StoredReading<'a> {
    /// Whose.
    pub unit: &'a Id,
    /// When it was received.
    pub received: UnixMs,
    /// Whether it came late.
    pub late: bool,
    /// What was read.
    pub reading: Reading,
}

/// An event as stored.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StoredEvent<'a> {
    /// Whose.
    pub unit: &'a Id,
    /// When it happened.
    pub time: UnixMs,
    /// When it was received.
    pub received: UnixMs,
    /// Whether it came late.
    pub late: bool,
    /// What happened.
    pub kind: &'a EventKind,
}

impl DataFile {
    /// Reads the file, whose bytes must be those the manifest says.
    pub fn read(&self, store: &dyn Store) -> Result<Contents, ArchiveError> {
        let mut rows = Rows::default();
        merge::load(store, self, &mut rows)?;
        Ok(Contents { rows })
    }
}

impl Contents {
    /// Readings in the order of the file.
    pub fn readings(&self) -> impl Iterator<Item = StoredReading<'_>> {
        let rows = &self.rows;
        (0..rows.len()).map(|row| StoredReading {
            unit: rows.units.get(rows.unit[row]),
            received: rows.received[row],
            late: rows.late[row],
            reading: rows.reading(row),
        })
    }

    /// Events in the order of the file.
    pub fn events(&self) -> impl Iterator<Item = StoredEvent<'_>> {
        self.rows.events.iter().map(|event| StoredEvent {
            unit: self.rows.units.get(event.unit),
            time: event.time,
            received: event.received,
            late: event.late,
            kind: &event.kind,
        })
    }
}
