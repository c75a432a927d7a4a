//! What detectors need to go on, and what they say beside cases.

use rimeline_channels::{DAY_MS, Id, UnixMs};
use rimeline_detector::{Judgement, Mark};
use rusqlite::{Connection, OptionalExtension, params};

use super::fail::{Fail, id, read, write};
use super::registry;
use crate::CasebookError;

const DOING: &str = "reading detector state";
const WRITING: &str = "writing detector state";

/// Past weeks whose judgements are kept, this one included.
const KEPT_WEEKS: i64 = 8;

/// The week of a time, counted from the Monday before the epoch.
pub(super) fn week_of(time: UnixMs) -> i64 {
    // 1970-01-01 was a Thursday.
    time.saturating_add(3 * DAY_MS).div_euclid(7 * DAY_MS)
}

pub(super) fn put_checkpoint(
    tx: &Connection,
    unit: &Id,
    state: &[u8],
    now: UnixMs,
) -> Result<(), CasebookError> {
    let number = registry::number(tx, unit, now)?;
    let mut insert = tx
        .prepare_cached("INSERT OR REPLACE INTO checkpoint (unit_no, state) VALUES (?, ?)")
        .fail(WRITING)?;
    insert.execute(params![number, state]).fail(WRITING)?;
    Ok(())
}

pub(super) fn put_fleet_checkpoint(tx: &Connection, state: &[u8]) -> Result<(), CasebookError> {
    let mut insert = tx
        .prepare_cached("INSERT OR REPLACE INTO fleet_checkpoint (one, state) VALUES (1, ?)")
        .fail(WRITING)?;
    insert.execute([state]).fail(WRITING)?;
    Ok(())
}

pub(super) fn checkpoint(view: &Connection, unit: &Id) -> Result<Option<Vec<u8>>, CasebookError> {
    let sql = "SELECT state FROM checkpoint JOIN unit USING (unit_no) WHERE unit = ?";
    let mut select = view.prepare_cached(sql).fail(DOING)?;
    select.query_row([unit.as_str()], |row| row.get(0)).optional().fail(DOING)
}

pub(super) fn visit_checkpoints(
    view: &Connection,
    visit: &mut dyn FnMut(Id, &[u8]),
) -> Result<(), CasebookError> {
    let sql = "SELECT unit, state FROM checkpoint JOIN unit USING (unit_no) ORDER BY unit_no";
    let mut select = view.prepare_cached(sql).fail(DOING)?;
    let mut rows = select.query([]).fail(DOING)?;
    while let Some(row) = rows.next().fail(DOING)? {
        let unit = id(row.get_ref(0).fail(DOING)?.as_str().fail(DOING)?)?;
        visit(unit, row.get_ref(1).fail(DOING)?.as_blob().fail(DOING)?);
    }
    Ok(())
}

pub(super) fn fleet_checkpoint(view: &Connection) -> Result<Option<Vec<u8>>, CasebookError> {
    view.query_row("SELECT state FROM fleet_checkpoint", [], |row| row.get(0)).optional().fail(DOING)
}

/// Adds a mark to the unit's ring, where it takes the place of the oldest once the ring is full.
pub(super) fn put_mark(
    tx: &Connection,
    unit: &Id,
    mark: &Mark,
    kept: u32,
    now: UnixMs,
) -> Result<(), CasebookError> {
    let number = registry::number(tx, unit, now)?;
    let sql = "UPDATE unit SET mark_count = mark_count + 1 WHERE unit_no = ? RETURNING mark_count";
    let mut count = tx.prepare_cached(sql).fail(WRITING)?;
    let count: i64 = count.query_row([number], |row| row.get(0)).fail(WRITING)?;
    let slot = (count - 1) % i64::from(kept);
    // Only where fewer are kept than before.
    let mut shrink = tx.prepare_cached("DELETE FROM mark WHERE unit_no = ? AND slot >= ?").fail(WRITING)?;
    shrink.execute([number, i64::from(kept)]).fail(WRITING)?;
    let sql = "INSERT OR REPLACE INTO mark (unit_no, slot, at_ms, body) VALUES (?, ?, ?, ?)";
    let mut insert = tx.prepare_cached(sql).fail(WRITING)?;
    insert.execute(params![number, slot, mark.at, write(mark)?]).fail(WRITING)?;
    Ok(())
}

pub(super) fn marks(view: &Connection, unit: &Id) -> Result<Vec<Mark>, CasebookError> {
    let sql = "SELECT body FROM mark JOIN unit USING (unit_no) WHERE unit = ? ORDER BY at_ms, slot";
    let mut select = view.prepare_cached(sql).fail(DOING)?;
    let mut rows = select.query([unit.as_str()]).fail(DOING)?;
    let mut marks = Vec::new();
    while let Some(row) = rows.next().fail(DOING)? {
        marks.push(read(row.get_ref(0).fail(DOING)?.as_str().fail(DOING)?, || format!("a mark of {unit}"))?);
    }
    Ok(marks)
}

pub(super) fn put_judgements(
    tx: &Connection,
    unit: &Id,
    judgements: &[Judgement],
    now: UnixMs,
) -> Result<(), CasebookError> {
    let number = registry::number(tx, unit, now)?;
    let week = week_of(now);
    let sql = "INSERT OR REPLACE INTO judgement (unit_no, week, body) VALUES (?, ?, ?)";
    let mut insert = tx.prepare_cached(sql).fail(WRITING)?;
    insert.execute(params![number, week, write(&judgements)?]).fail(WRITING)?;
    let mut delete =
        tx.prepare_cached("DELETE FROM judgement WHERE unit_no = ? AND week <= ?").fail(WRITING)?;
    delete.execute([number, week - KEPT_WEEKS]).fail(WRITING)?;
    Ok(())
}

pub(super) fn judgements(view: &Connection, unit: &Id) -> Result<Vec<Judgement>, CasebookError> {
    let sql =
        "SELECT body FROM judgement JOIN unit USING (unit_no) WHERE unit = ? ORDER BY week DESC LIMIT 1";
    let mut select = view.prepare_cached(sql).fail(DOING)?;
    let body: Option<String> = select.query_row([unit.as_str()], |row| row.get(0)).optional().fail(DOING)?;
    body.map_or(Ok(Vec::new()), |body| read(&body, || format!("the judgements of {unit}")))
}
