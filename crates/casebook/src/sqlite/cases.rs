use rimeline_channels::{Channel, Id, UnixMs};
use rimeline_detector::Condition;
use rusqlite::{CachedStatement, Connection, OptionalExtension, Params, params};

use super::fail::{Fail, read, write};
use super::feed;
use crate::{Case, CaseFilter, CasebookError, Snapshot, rank};

const DOING: &str = "reading cases";

fn number(channel: Option<Channel>) -> i32 {
    channel.map_or(0, Channel::number)
}

/// The newest case of a unit, condition and channel, closed or not.
pub(super) fn newest(
    view: &Connection,
    unit: &Id,
    condition: Condition,
    channel: Option<Channel>,
) -> Result<Option<Case>, CasebookError> {
    let sql = "SELECT body FROM cases WHERE unit = ? AND condition = ? AND channel = ? ORDER BY onset_ms DESC LIMIT 1";
    let select = view.prepare_cached(sql).fail(DOING)?;
    one(select, params![unit.as_str(), condition as i32, number(channel)])
}

/// The case with an id.
pub(super) fn by_id(view: &Connection, case_id: &str) -> Result<Option<Case>, CasebookError> {
    one(view.prepare_cached("SELECT body FROM cases WHERE case_id = ?").fail(DOING)?, [case_id])
}

/// Cases of a unit that were raised and stand.
pub(super) fn standing(view: &Connection, unit: &Id) -> Result<Vec<Case>, CasebookError> {
    let sql = "SELECT body FROM cases WHERE unit = ? AND stage BETWEEN 2 AND 4 ORDER BY case_id";
    let mut found = Vec::new();
    each(view.prepare_cached(sql).fail(DOING)?, [unit.as_str()], |case| {
        found.push(case);
        true
    })?;
    Ok(found)
}

/// Writes a case as it is now.
pub(super) fn put(tx: &Connection, case: &Case) -> Result<(), CasebookError> {
    let doing = "writing a case";
    let sql = "INSERT INTO cases (case_id, unit, condition, channel, onset_ms, stage, raised_ms, cleared_ms, updated_ms, \
               body) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (case_id) DO UPDATE SET stage = excluded.stage, \
               raised_ms = excluded.raised_ms, cleared_ms = excluded.cleared_ms, updated_ms = excluded.updated_ms, \
               body = excluded.body";
    let mut upsert = tx.prepare_cached(sql).fail(doing)?;
    upsert
        .execute(params![
            case.case_id,
            case.unit.as_str(),
            case.condition as i32,
            number(case.channel),
            case.onset,
            case.stage.number(),
            case.raised,
            case.cleared,
            case.updated,
            write(case)?,
        ])
        .fail(doing)?;
    Ok(())
}

/// Forgets first signs that came to nothing.
pub(super) fn forget(tx: &Connection, case_id: &str) -> Result<(), CasebookError> {
    let doing = "forgetting first signs";
    let mut delete = tx.prepare_cached("DELETE FROM cases WHERE case_id = ? AND stage = 1").fail(doing)?;
    delete.execute([case_id]).fail(doing)?;
    Ok(())
}

/// The cases wanted, ranked.
pub(super) fn list(
    view: &Connection,
    filter: &CaseFilter,
    now: UnixMs,
    most_closed: usize,
) -> Result<Snapshot, CasebookError> {
    let mut wanted = Vec::new();
    let mut keep = |case: Case| {
        if filter.matches(&case, now) {
            wanted.push(case);
        }
        true
    };
    if filter.units.is_empty() {
        let sql = "SELECT body FROM cases WHERE stage BETWEEN 2 AND 4";
        each(view.prepare_cached(sql).fail(DOING)?, [], &mut keep)?;
    } else {
        for unit in &filter.units {
            let sql = "SELECT body FROM cases WHERE unit = ? AND stage BETWEEN 2 AND 4";
            each(view.prepare_cached(sql).fail(DOING)?, [unit.as_str()], &mut keep)?;
        }
    }
    if filter.include_closed {
        let mut room = most_closed;
        let mut keep = |case: Case| {
            if room > 0 && filter.matches(&case, now) {
                wanted.push(case);
                room -= 1;
            }
            room > 0
        };
        if filter.units.is_empty() {
            let sql = "SELECT body FROM cases WHERE stage = 5 ORDER BY updated_ms DESC";
            each(view.prepare_cached(sql).fail(DOING)?, [], &mut keep)?;
        } else {
            for unit in &filter.units {
                let sql = "SELECT body FROM cases WHERE unit = ? AND stage = 5 ORDER BY updated_ms DESC";
                each(view.prepare_cached(sql).fail(DOING)?, [unit.as_str()], &mut keep)?;
            }
        }
    }
    rank(&mut wanted, now);
    wanted.dedup_by(|a, b| a.case_id == b.case_id);
    Ok(Snapshot { cases: wanted, cursor: feed::cursor(view)? })
}

/// Shows the cases a query finds until `visit` has enough.
pub(super) fn each<P: Params>(
    mut select: CachedStatement<'_>,
    params: P,
    mut visit: impl FnMut(Case) -> bool,
) -> Result<(), CasebookError> {
    let mut rows = select.query(params).fail(DOING)?;
    while let Some(row) = rows.next().fail(DOING)? {
        let body = row.get_ref(0).fail(DOING)?.as_str().fail(DOING)?;
        if !visit(read(body, || "a case".to_owned())?) {
            break;
        }
    }
    Ok(())
}

fn one<P: Params>(mut select: CachedStatement<'_>, params: P) -> Result<Option<Case>, CasebookError> {
    let body: Option<String> = select.query_row(params, |row| row.get(0)).optional().fail(DOING)?;
    body.map(|body| read(&body, || "a case".to_owned())).transpose()
}
