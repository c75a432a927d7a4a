//! The tables. One file per casebook, `SQLite` in WAL mode.
//!
//! | crash | what is there afterwards |
//! |---|---|
//! | while a step or an entry of a person is written | the casebook as it was before; the step is made again from the journal |
//! | after `commit` or `record_action` returned | everything: the log was synced before they returned |
//! | between a step and the journal's own trimming | the step is offered again and changes nothing |

use rusqlite::Connection;
use rusqlite_migration::{Error, M, MigrationDefinitionError, Migrations};

use super::fail::Fail;
use crate::CasebookError;

const FIRST: &str = "
-- epoch of the feed; last sequence; time up to which loads were taken into account
CREATE TABLE meta (name TEXT PRIMARY KEY, value INTEGER NOT NULL) STRICT, WITHOUT ROWID;

CREATE TABLE role (
    role TEXT PRIMARY KEY,
    position INTEGER NOT NULL DEFAULT 0,
    services_taken INTEGER NOT NULL DEFAULT 0
) STRICT, WITHOUT ROWID;

CREATE TABLE unit (
    unit_no INTEGER PRIMARY KEY,
    unit TEXT NOT NULL UNIQUE,
    depot TEXT NOT NULL DEFAULT '',
    description TEXT,
    first_ms INTEGER NOT NULL,
    last_reading_ms INTEGER,
    row_count INTEGER NOT NULL DEFAULT 0,
    not_assessed INTEGER NOT NULL DEFAULT 0,
    mark_count INTEGER NOT NULL DEFAULT 0,
    last_state TEXT,
    last_values BLOB
) STRICT;

CREATE TABLE load (
    load TEXT PRIMARY KEY,
    unit TEXT NOT NULL,
    from_ms INTEGER NOT NULL,
    until_ms INTEGER,
    cargo_class INTEGER NOT NULL,
    body TEXT NOT NULL
) STRICT;
CREATE INDEX load_of_unit ON load (unit, from_ms);
CREATE INDEX load_start ON load (from_ms);
CREATE INDEX load_end ON load (until_ms) WHERE until_ms IS NOT NULL;

-- `channel` 0: the condition is not of one channel
CREATE TABLE cases (
    case_id TEXT PRIMARY KEY,
    unit TEXT NOT NULL,
    condition INTEGER NOT NULL,
    channel INTEGER NOT NULL,
    onset_ms INTEGER NOT NULL,
    stage INTEGER NOT NULL,
    raised_ms INTEGER,
    cleared_ms INTEGER,
    updated_ms INTEGER NOT NULL,
    body TEXT NOT NULL
) STRICT;
CREATE UNIQUE INDEX case_key ON cases (unit, condition, channel, onset_ms);
CREATE INDEX case_standing ON cases (unit) WHERE stage BETWEEN 2 AND 4;
CREATE INDEX case_closed ON cases (updated_ms) WHERE stage = 5;
CREATE INDEX case_cleared ON cases (cleared_ms);

CREATE TABLE action (
    action_no INTEGER PRIMARY KEY AUTOINCREMENT,
    case_id TEXT NOT NULL REFERENCES cases,
    by TEXT NOT NULL,
    at_ms INTEGER NOT NULL,
    kind INTEGER NOT NULL,
    text TEXT NOT NULL,
    until_ms INTEGER
) STRICT;
CREATE INDEX action_of_case ON action (case_id);
CREATE INDEX action_service ON action (action_no) WHERE kind = 7;
-- what a person wrote is never changed
CREATE TRIGGER action_kept BEFORE UPDATE ON action BEGIN SELECT RAISE(ABORT, 'an entry is never changed'); END;
CREATE TRIGGER action_stays BEFORE DELETE ON action BEGIN SELECT RAISE(ABORT, 'an entry is never deleted'); END;

CREATE TABLE change (
    sequence INTEGER PRIMARY KEY,
    case_id TEXT NOT NULL,
    updated_ms INTEGER NOT NULL,
    body TEXT NOT NULL
) STRICT;
CREATE INDEX change_of_case ON change (case_id, sequence);

CREATE TABLE checkpoint (unit_no INTEGER PRIMARY KEY REFERENCES unit, state BLOB NOT NULL) STRICT;
CREATE TABLE fleet_checkpoint (one INTEGER PRIMARY KEY CHECK (one = 1), state BLOB NOT NULL) STRICT;

-- a ring per unit
CREATE TABLE mark (
    unit_no INTEGER NOT NULL REFERENCES unit,
    slot INTEGER NOT NULL,
    at_ms INTEGER NOT NULL,
    body TEXT NOT NULL,
    PRIMARY KEY (unit_no, slot)
) STRICT, WITHOUT ROWID;

-- what was said last in each week, weeks from Monday 00:00 UTC
CREATE TABLE judgement (
    unit_no INTEGER NOT NULL REFERENCES unit,
    week INTEGER NOT NULL,
    body TEXT NOT NULL,
    PRIMARY KEY (unit_no, week)
) STRICT, WITHOUT ROWID;
";

/// Brings the tables to this version and switches on what durability needs.
pub(super) fn prepare(writer: &mut Connection) -> Result<(), CasebookError> {
    let doing = "preparing the file";
    // A unit's detector state takes about 3 KiB: two fit a page. Holds for a new file only.
    writer.pragma_update(None, "page_size", 8_192).fail(doing)?;
    // A setting that answers with a row, hence not `execute`.
    let mode: String =
        writer.pragma_update_and_check(None, "journal_mode", "wal", |row| row.get(0)).fail(doing)?;
    if mode != "wal" {
        return Err(CasebookError::Store {
            doing,
            source: format!("the file system does not take a write-ahead log (journal mode stays `{mode}`)")
                .into(),
        });
    }
    // FULL: an entry of a person is on disk before the call returns. EXTRA adds nothing in WAL mode.
    writer.pragma_update(None, "synchronous", "full").fail(doing)?;
    writer.pragma_update(None, "fullfsync", true).fail(doing)?;
    writer.pragma_update(None, "foreign_keys", true).fail(doing)?;
    // A step of a thousand units fits the page cache (KiB, hence negative) and, four times, the log (pages).
    writer.pragma_update(None, "cache_size", -32_768).fail(doing)?;
    writer.pragma_update(None, "wal_autocheckpoint", 2_000).fail(doing)?;
    common(writer)?;
    match Migrations::new(vec![M::up(FIRST)]).to_latest(writer) {
        Err(Error::MigrationDefinition(MigrationDefinitionError::DatabaseTooFarAhead)) => {
            Err(CasebookError::Newer)
        }
        done => done.fail("bringing the tables to this version"),
    }
}

/// Settings of every connection.
pub(super) fn common(connection: &Connection) -> Result<(), CasebookError> {
    connection
        .busy_timeout(std::time::Duration::from_secs(10))
        .fail("setting how long to wait for the file")?;
    connection.set_prepared_statement_cache_capacity(64);
    Ok(())
}
