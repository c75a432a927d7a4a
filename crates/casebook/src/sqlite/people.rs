use rimeline_channels::Channel;
use rimeline_detector::Condition;
use rusqlite::{Connection, Row, params};

use super::fail::{Fail, damaged, id};
use super::{Options, cases, feed};
use crate::{Action, ActionKind, Case, CaseFile, CasebookError, Recorded, Service};

const DOING: &str = "reading what people wrote";

/// The case with an id, if people may see it.
fn visible(view: &Connection, case_id: &str) -> Result<Case, CasebookError> {
    match cases::by_id(view, case_id)? {
        Some(case) if case.is_visible() => Ok(case),
        _ => Err(CasebookError::UnknownCase(case_id.chars().take(64).collect())),
    }
}

pub(super) fn case_file(view: &Connection, case_id: &str) -> Result<CaseFile, CasebookError> {
    let case = visible(view, case_id)?;
    let sql = "SELECT by, at_ms, kind, text, until_ms FROM action WHERE case_id = ? ORDER BY action_no";
    let mut select = view.prepare_cached(sql).fail(DOING)?;
    let mut rows = select.query([case_id]).fail(DOING)?;
    let mut actions = Vec::new();
    while let Some(row) = rows.next().fail(DOING)? {
        let kind = row.get(2).fail(DOING)?;
        actions.push(Action {
            by: row.get(0).fail(DOING)?,
            at: row.get(1).fail(DOING)?,
            kind: ActionKind::from_number(kind).ok_or_else(|| damaged("the kind of an entry"))?,
            text: row.get(3).fail(DOING)?,
            until: row.get(4).fail(DOING)?,
        });
    }
    Ok(CaseFile { case, actions })
}

/// Writes an entry down and the case after it.
pub(super) fn record(
    tx: &Connection,
    case_id: &str,
    action: &Action,
    options: &Options,
) -> Result<Recorded, CasebookError> {
    let mut feed = feed::Appender::new(tx)?;
    let recorded = add(tx, &mut feed, case_id, action)?;
    feed.finish(options.kept_changes)?;
    Ok(recorded)
}

/// As [`record`], as part of something larger.
pub(super) fn add(
    tx: &Connection,
    feed: &mut feed::Appender<'_>,
    case_id: &str,
    action: &Action,
) -> Result<Recorded, CasebookError> {
    let doing = "writing down what a person did";
    action.validate()?;
    let case = visible(tx, case_id)?;
    let mut count = tx.prepare_cached("SELECT count(*) FROM action WHERE case_id = ?").fail(doing)?;
    if count.query_row([case_id], |row| row.get::<_, i64>(0)).fail(doing)? >= Action::MAX_PER_CASE as i64 {
        return Err(CasebookError::TooManyActions {
            case_id: case_id.to_owned(),
            limit: Action::MAX_PER_CASE,
        });
    }
    let sql = "INSERT INTO action (case_id, by, at_ms, kind, text, until_ms) VALUES (?, ?, ?, ?, ?, ?)";
    let mut insert = tx.prepare_cached(sql).fail(doing)?;
    let kind = action.kind.number();
    insert.execute(params![case_id, action.by, action.at, kind, action.text, action.until]).fail(doing)?;
    let number = tx.last_insert_rowid() as u64;
    let after = action.apply(&case);
    cases::put(tx, &after)?;
    let service = (action.kind == ActionKind::Serviced).then(|| Service {
        number,
        case_id: case_id.to_owned(),
        unit: after.unit.clone(),
        condition: after.condition,
        channel: after.channel,
        at: action.at,
    });
    Ok(Recorded { change: feed.append(&after)?, service })
}

pub(super) fn services_after(
    view: &Connection,
    number: u64,
    limit: usize,
) -> Result<Vec<Service>, CasebookError> {
    let sql = "SELECT action_no, case_id, unit, condition, channel, at_ms FROM action JOIN cases USING (case_id) \
               WHERE kind = 7 AND action_no > ? ORDER BY action_no LIMIT ?";
    let mut select = view.prepare_cached(sql).fail(DOING)?;
    let after = i64::try_from(number).unwrap_or(i64::MAX);
    let limit = i64::try_from(limit).unwrap_or(i64::MAX);
    let mut rows = select.query(params![after, limit]).fail(DOING)?;
    let mut services = Vec::new();
    while let Some(row) = rows.next().fail(DOING)? {
        services.push(service(row)?);
    }
    Ok(services)
}

fn service(row: &Row<'_>) -> Result<Service, CasebookError> {
    let condition = row.get(3).fail(DOING)?;
    Ok(Service {
        number: row.get::<_, i64>(0).fail(DOING)? as u64,
        case_id: row.get(1).fail(DOING)?,
        unit: id(row.get_ref(2).fail(DOING)?.as_str().fail(DOING)?)?,
        condition: Condition::from_number(condition).ok_or_else(|| damaged("the condition of a case"))?,
        channel: Channel::from_number(row.get(4).fail(DOING)?),
        at: row.get(5).fail(DOING)?,
    })
}
