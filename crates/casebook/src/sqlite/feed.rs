use rusqlite::{Connection, OptionalExtension, params};

use super::fail::{Fail, read, write};
use crate::{Case, CaseChange, CasebookError, Changes, Cursor};

const DOING: &str = "reading the feed";

/// Gives a new casebook its epoch; an existing one keeps its own.
pub(super) fn create(connection: &Connection, epoch: u64) -> Result<(), CasebookError> {
    let sql =
        "INSERT OR IGNORE INTO meta (name, value) VALUES ('epoch', ?), ('sequence', 0), ('loads_until', 0)";
    // Bits, not a number: an epoch above i64::MAX comes back as it was.
    connection.execute(sql, [epoch as i64]).fail("starting the feed")?;
    Ok(())
}

pub(super) fn meta(view: &Connection, name: &str) -> Result<i64, CasebookError> {
    let mut get = view.prepare_cached("SELECT value FROM meta WHERE name = ?").fail(DOING)?;
    get.query_row([name], |row| row.get(0)).fail(DOING)
}

pub(super) fn set_meta(tx: &Connection, name: &str, value: i64) -> Result<(), CasebookError> {
    let doing = "writing the feed's place";
    let mut set = tx.prepare_cached("UPDATE meta SET value = ? WHERE name = ?").fail(doing)?;
    set.execute(params![value, name]).fail(doing)?;
    Ok(())
}

pub(super) fn cursor(view: &Connection) -> Result<Cursor, CasebookError> {
    Ok(Cursor { epoch: meta(view, "epoch")? as u64, sequence: meta(view, "sequence")? as u64 })
}

pub(super) fn changes_after(
    view: &Connection,
    after: Cursor,
    limit: usize,
) -> Result<Changes, CasebookError> {
    let newest = cursor(view)?;
    if after.epoch != newest.epoch || after.sequence > newest.sequence {
        return Ok(Changes::OutOfRange);
    }
    let oldest: Option<i64> = view
        .query_row("SELECT min(sequence) FROM change", [], |row| row.get(0))
        .optional()
        .fail(DOING)?
        .flatten();
    if oldest.is_some_and(|oldest| after.sequence + 1 < oldest as u64) {
        return Ok(Changes::OutOfRange);
    }
    let sql = "SELECT sequence, body FROM change WHERE sequence > ? ORDER BY sequence LIMIT ?";
    let mut select = view.prepare_cached(sql).fail(DOING)?;
    let limit = i64::try_from(limit).unwrap_or(i64::MAX);
    let mut rows = select.query(params![after.sequence as i64, limit]).fail(DOING)?;
    let mut page = Vec::new();
    while let Some(row) = rows.next().fail(DOING)? {
        let sequence = row.get::<_, i64>(0).fail(DOING)? as u64;
        let body = row.get_ref(1).fail(DOING)?.as_str().fail(DOING)?;
        let case = read(body, || format!("change {sequence} of the feed"))?;
        page.push(CaseChange { cursor: Cursor { sequence, ..newest }, case });
    }
    Ok(Changes::Page(page))
}

/// Puts changes at the end of the feed, within one transaction.
pub(super) struct Appender<'a> {
    tx: &'a Connection,
    place: Cursor,
    started_at: u64,
}

impl<'a> Appender<'a> {
    pub(super) fn new(tx: &'a Connection) -> Result<Self, CasebookError> {
        let place = cursor(tx)?;
        Ok(Self { tx, place, started_at: place.sequence })
    }

    pub(super) fn append(&mut self, case: &Case) -> Result<CaseChange, CasebookError> {
        let doing = "adding to the feed";
        self.place.sequence += 1;
        let sql = "INSERT INTO change (sequence, case_id, updated_ms, body) VALUES (?, ?, ?, ?)";
        let mut insert = self.tx.prepare_cached(sql).fail(doing)?;
        let body = write(case)?;
        insert.execute(params![self.place.sequence as i64, case.case_id, case.updated, body]).fail(doing)?;
        Ok(CaseChange { cursor: self.place, case: case.clone() })
    }

    /// Remembers the place and drops what is no longer kept.
    pub(super) fn finish(self, kept: u64) -> Result<(), CasebookError> {
        if self.place.sequence == self.started_at {
            return Ok(());
        }
        set_meta(self.tx, "sequence", self.place.sequence as i64)?;
        let doing = "dropping old changes";
        let mut delete = self.tx.prepare_cached("DELETE FROM change WHERE sequence <= ?").fail(doing)?;
        delete.execute([self.place.sequence.saturating_sub(kept) as i64]).fail(doing)?;
        Ok(())
    }
}
