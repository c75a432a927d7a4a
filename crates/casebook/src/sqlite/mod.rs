//! A casebook in one `SQLite` file.

mod cases;
mod commit;
mod fail;
mod feed;
mod people;
mod registry;
mod schema;
mod state;
mod week;

use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

use rimeline_channels::{Id, UnixMs};
use rimeline_detector::{Judgement, Mark};
use rusqlite::{Connection, OpenFlags, Transaction, TransactionBehavior};

use self::fail::Fail;
use crate::{
    Action, CaseFile, CaseFilter, Casebook, CasebookError, Changes, Committed, Cursor, Load, Recorded,
    Service, Snapshot, Step, UnitRecord, UnitSummary, Week,
};

/// How a casebook is kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Options {
    /// Epoch of the feed of a casebook that is created now, e.g. the time of creation. A cursor of another epoch is
    /// out of range. An existing casebook keeps its own.
    pub epoch: u64,
    /// Changes of the feed that are kept for followers and past weeks, the newest; at least 1.
    pub kept_changes: u64,
    /// Marks that are kept per unit, the newest; at least 1.
    pub kept_marks: u32,
    /// Loads that are kept per unit, those that started last; at least 1.
    pub kept_loads: u32,
    /// Closed cases that are listed at once, those that changed last.
    pub listed_closed: usize,
}

impl Options {
    /// The defaults, with this epoch for a casebook that is created now.
    pub fn new(epoch: u64) -> Self {
        Self { epoch, kept_changes: 50_000, kept_marks: 200, kept_loads: 500, listed_closed: 1_000 }
    }
}

/// A [`Casebook`] in one `SQLite` file. One connection writes; readers have their own and wait for nobody.
#[derive(Debug)]
pub struct SqliteCasebook {
    path: PathBuf,
    options: Options,
    writer: Mutex<Connection>,
    readers: Mutex<Vec<Connection>>,
}

/// Idle reading connections that are kept.
const KEPT_READERS: usize = 4;

impl SqliteCasebook {
    /// Opens the casebook in a file, or creates it. The folder must exist.
    pub fn open(path: &Path, options: Options) -> Result<Self, CasebookError> {
        let mut writer = Connection::open(path).fail("opening the file")?;
        schema::prepare(&mut writer)?;
        feed::create(&writer, options.epoch)?;
        let options = Options {
            kept_changes: options.kept_changes.max(1),
            kept_marks: options.kept_marks.max(1),
            kept_loads: options.kept_loads.max(1),
            ..options
        };
        Ok(Self { path: path.to_owned(), options, writer: Mutex::new(writer), readers: Mutex::default() })
    }

    /// Runs `work` in one transaction that is on disk when this returns, or leaves no trace.
    fn write<T>(
        &self,
        work: impl FnOnce(&Transaction<'_>) -> Result<T, CasebookError>,
    ) -> Result<T, CasebookError> {
        let mut writer = self.writer.lock().unwrap_or_else(PoisonError::into_inner);
        let transaction =
            writer.transaction_with_behavior(TransactionBehavior::Immediate).fail("starting to write")?;
        let done = work(&transaction)?;
        transaction.commit().fail("writing to disk")?;
        Ok(done)
    }

    /// Runs `work` on one consistent view.
    fn read<T>(
        &self,
        work: impl FnOnce(&Connection) -> Result<T, CasebookError>,
    ) -> Result<T, CasebookError> {
        let idle = self.readers.lock().unwrap_or_else(PoisonError::into_inner).pop();
        let mut reader = match idle {
            Some(reader) => reader,
            None => self.open_reader()?,
        };
        let view = reader.transaction().fail("starting to read")?;
        let done = work(&view);
        view.finish().fail("ending to read")?;
        let mut readers = self.readers.lock().unwrap_or_else(PoisonError::into_inner);
        if readers.len() < KEPT_READERS {
            readers.push(reader);
        }
        done
    }

    fn open_reader(&self) -> Result<Connection, CasebookError> {
        let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let reader = Connection::open_with_flags(&self.path, flags).fail("opening the file to read")?;
        schema::common(&reader)?;
        Ok(reader)
    }
}

impl Casebook for SqliteCasebook {
    fn position(&self, role: &str) -> Result<u64, CasebookError> {
        self.read(|view| Ok(commit::role(view, role)?.position))
    }

    fn commit(&self, step: &Step) -> Result<Committed, CasebookError> {
        self.write(|tx| commit::commit(tx, step, &self.options))
    }

    fn cursor(&self) -> Result<Cursor, CasebookError> {
        self.read(feed::cursor)
    }

    fn changes_after(&self, cursor: Cursor, limit: usize) -> Result<Changes, CasebookError> {
        self.read(|view| feed::changes_after(view, cursor, limit))
    }

    fn cases(&self, filter: &CaseFilter, now: UnixMs) -> Result<Snapshot, CasebookError> {
        self.read(|view| cases::list(view, filter, now, self.options.listed_closed))
    }

    fn case(&self, case_id: &str) -> Result<CaseFile, CasebookError> {
        self.read(|view| people::case_file(view, case_id))
    }

    fn record_action(&self, case_id: &str, action: &Action, now: UnixMs) -> Result<Recorded, CasebookError> {
        let action = Action { at: now, ..action.clone() };
        self.write(|tx| people::record(tx, case_id, &action, &self.options))
    }

    fn services_after(&self, number: u64, limit: usize) -> Result<Vec<Service>, CasebookError> {
        self.read(|view| people::services_after(view, number, limit))
    }

    fn services_taken(&self, role: &str) -> Result<u64, CasebookError> {
        self.read(|view| Ok(commit::role(view, role)?.services_taken))
    }

    fn units(&self, depot: Option<&str>) -> Result<Vec<UnitSummary>, CasebookError> {
        self.read(|view| registry::units(view, depot))
    }

    fn unit(&self, unit: &Id) -> Result<Option<UnitRecord>, CasebookError> {
        self.read(|view| registry::unit(view, unit))
    }

    fn loads(&self, unit: Option<&Id>) -> Result<Vec<Load>, CasebookError> {
        self.read(|view| registry::loads(view, unit))
    }

    fn load_at(&self, unit: &Id, time: UnixMs) -> Result<Option<Load>, CasebookError> {
        self.read(|view| registry::load_at(view, unit, time))
    }

    fn marks(&self, unit: &Id) -> Result<Vec<Mark>, CasebookError> {
        self.read(|view| state::marks(view, unit))
    }

    fn judgements(&self, unit: &Id) -> Result<Vec<Judgement>, CasebookError> {
        self.read(|view| state::judgements(view, unit))
    }

    fn checkpoint(&self, unit: &Id) -> Result<Option<Vec<u8>>, CasebookError> {
        self.read(|view| state::checkpoint(view, unit))
    }

    fn visit_checkpoints(&self, visit: &mut dyn FnMut(Id, &[u8])) -> Result<(), CasebookError> {
        self.read(|view| state::visit_checkpoints(view, visit))
    }

    fn fleet_checkpoint(&self) -> Result<Option<Vec<u8>>, CasebookError> {
        self.read(state::fleet_checkpoint)
    }

    fn week(&self, from: UnixMs, until: UnixMs, depot: Option<&str>) -> Result<Week, CasebookError> {
        self.read(|view| week::week(view, from, until, depot))
    }
}
