use rimeline_channels::{Id, State, UnixMs};
use rusqlite::{Connection, OptionalExtension, Row, params};

use super::fail::{Fail, id, read, write};
use crate::{CasebookError, LastValue, Load, Seen, UnitDescription, UnitRecord, UnitSummary};

const DOING: &str = "reading the registry";
const WRITING: &str = "writing the registry";

/// The number of a unit, which becomes known at `time` if it was not.
pub(super) fn number(tx: &Connection, unit: &Id, time: UnixMs) -> Result<i64, CasebookError> {
    if let Some(number) = known_number(tx, unit)? {
        return Ok(number);
    }
    let mut insert = tx.prepare_cached("INSERT INTO unit (unit, first_ms) VALUES (?, ?)").fail(WRITING)?;
    insert.execute(params![unit.as_str(), time]).fail(WRITING)?;
    Ok(tx.last_insert_rowid())
}

/// The number of a unit that is known.
pub(super) fn known_number(view: &Connection, unit: &Id) -> Result<Option<i64>, CasebookError> {
    let mut select = view.prepare_cached("SELECT unit_no FROM unit WHERE unit = ?").fail(DOING)?;
    select.query_row([unit.as_str()], |row| row.get(0)).optional().fail(DOING)
}

/// Where a unit belongs; empty: not stated.
pub(super) fn depot(view: &Connection, unit: &Id) -> Result<String, CasebookError> {
    let mut select = view.prepare_cached("SELECT depot FROM unit WHERE unit = ?").fail(DOING)?;
    Ok(select.query_row([unit.as_str()], |row| row.get(0)).optional().fail(DOING)?.unwrap_or_default())
}

pub(super) fn describe(
    tx: &Connection,
    described: &UnitDescription,
    now: UnixMs,
) -> Result<(), CasebookError> {
    let number = number(tx, &described.unit, now)?;
    let sql = "UPDATE unit SET depot = ?, description = ? WHERE unit_no = ?";
    let mut update = tx.prepare_cached(sql).fail(WRITING)?;
    update.execute(params![described.depot, write(described)?, number]).fail(WRITING)?;
    Ok(())
}

pub(super) fn put_load(tx: &Connection, load: &Load, kept: u32) -> Result<(), CasebookError> {
    let sql = "INSERT OR REPLACE INTO load (load, unit, from_ms, until_ms, cargo_class, body) VALUES (?, ?, ?, ?, ?, ?)";
    let mut insert = tx.prepare_cached(sql).fail(WRITING)?;
    let (class, unit) = (load.cargo_class.number(), load.unit.as_str());
    insert
        .execute(params![load.load.as_str(), unit, load.from, load.until, class, write(load)?])
        .fail(WRITING)?;
    let sql = "DELETE FROM load WHERE unit = ?1 AND load NOT IN \
               (SELECT load FROM load WHERE unit = ?1 ORDER BY from_ms DESC, load DESC LIMIT ?2)";
    tx.prepare_cached(sql).fail(WRITING)?.execute(params![unit, kept]).fail(WRITING)?;
    Ok(())
}

/// The unit a load is on now, which it leaves when it is put on another.
pub(super) fn unit_of_load(view: &Connection, load: &Id) -> Result<Option<Id>, CasebookError> {
    let mut select = view.prepare_cached("SELECT unit FROM load WHERE load = ?").fail(DOING)?;
    let unit: Option<String> = select.query_row([load.as_str()], |row| row.get(0)).optional().fail(DOING)?;
    unit.map(|unit| id(&unit)).transpose()
}

/// Units of which a load started or ended after `after` and not after `until`.
pub(super) fn load_turns(view: &Connection, after: UnixMs, until: UnixMs) -> Result<Vec<Id>, CasebookError> {
    let sql = "SELECT unit FROM load WHERE from_ms > ?1 AND from_ms <= ?2 \
               UNION SELECT unit FROM load WHERE until_ms > ?1 AND until_ms <= ?2";
    let mut select = view.prepare_cached(sql).fail(DOING)?;
    let mut rows = select.query([after, until]).fail(DOING)?;
    let mut units = Vec::new();
    while let Some(row) = rows.next().fail(DOING)? {
        units.push(id(row.get_ref(0).fail(DOING)?.as_str().fail(DOING)?)?);
    }
    Ok(units)
}

pub(super) fn loads(view: &Connection, unit: Option<&Id>) -> Result<Vec<Load>, CasebookError> {
    let sql = "SELECT body FROM load WHERE ?1 IS NULL OR unit = ?1 ORDER BY from_ms, load";
    let mut select = view.prepare_cached(sql).fail(DOING)?;
    let mut rows = select.query([unit.map(Id::as_str)]).fail(DOING)?;
    let mut loads = Vec::new();
    while let Some(row) = rows.next().fail(DOING)? {
        loads.push(read(row.get_ref(0).fail(DOING)?.as_str().fail(DOING)?, || "a load".to_owned())?);
    }
    Ok(loads)
}

pub(super) fn load_at(view: &Connection, unit: &Id, time: UnixMs) -> Result<Option<Load>, CasebookError> {
    let sql = "SELECT body FROM load WHERE unit = ?1 AND from_ms <= ?2 AND (until_ms IS NULL OR until_ms > ?2) \
               ORDER BY from_ms DESC, load DESC LIMIT 1";
    let mut select = view.prepare_cached(sql).fail(DOING)?;
    let body: Option<String> =
        select.query_row(params![unit.as_str(), time], |row| row.get(0)).optional().fail(DOING)?;
    body.map(|body| read(&body, || format!("a load of {unit}"))).transpose()
}

/// Writes down that a unit reported.
pub(super) fn saw(tx: &Connection, seen: &Seen) -> Result<(), CasebookError> {
    let number = number(tx, &seen.unit, seen.last_reading)?;
    let sql = "SELECT last_reading_ms, last_state, last_values FROM unit WHERE unit_no = ?";
    let mut select = tx.prepare_cached(sql).fail(DOING)?;
    let (newest, state, values): (Option<UnixMs>, Option<String>, Option<Vec<u8>>) =
        select.query_row([number], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?))).fail(DOING)?;
    let is_newest = newest.is_none_or(|newest| seen.last_reading >= newest);
    let state = if is_newest { Some(write(&seen.last_state)?) } else { state };
    let values = merged(unpack(values.as_deref(), &seen.unit)?, &seen.last_values);
    let values = postcard::to_stdvec(&values).fail(WRITING)?;
    let sql = "UPDATE unit SET first_ms = min(first_ms, ?2), last_reading_ms = max(coalesce(last_reading_ms, ?2), ?2), \
               row_count = row_count + ?3, not_assessed = not_assessed + ?4, last_state = ?5, last_values = ?6 \
               WHERE unit_no = ?1";
    let mut update = tx.prepare_cached(sql).fail(WRITING)?;
    let (rows, not_assessed) = (seen.rows as i64, seen.not_assessed as i64);
    update.execute(params![number, seen.last_reading, rows, not_assessed, state, values]).fail(WRITING)?;
    Ok(())
}

/// The newer value per channel, in catalogue order.
fn merged(mut values: Vec<LastValue>, newer: &[LastValue]) -> Vec<LastValue> {
    for value in newer {
        match values.binary_search_by_key(&value.channel, |value| value.channel) {
            Ok(at) if values[at].time <= value.time => values[at] = *value,
            Ok(_) => {}
            Err(at) => values.insert(at, *value),
        }
    }
    values
}

fn unpack(values: Option<&[u8]>, unit: &Id) -> Result<Vec<LastValue>, CasebookError> {
    let Some(values) = values else {
        return Ok(Vec::new());
    };
    postcard::from_bytes(values).map_err(|source| CasebookError::Damaged {
        what: format!("the last values of {unit}"),
        source: Box::new(source),
    })
}

pub(super) fn units(view: &Connection, depot: Option<&str>) -> Result<Vec<UnitSummary>, CasebookError> {
    let sql = "SELECT unit, description, last_reading_ms, row_count, not_assessed FROM unit \
               WHERE ?1 IS NULL OR depot = ?1 ORDER BY unit";
    let mut select = view.prepare_cached(sql).fail(DOING)?;
    let mut rows = select.query([depot]).fail(DOING)?;
    let mut units = Vec::new();
    while let Some(row) = rows.next().fail(DOING)? {
        units.push(summary(row)?);
    }
    Ok(units)
}

pub(super) fn unit(view: &Connection, unit: &Id) -> Result<Option<UnitRecord>, CasebookError> {
    let sql = "SELECT unit, description, last_reading_ms, row_count, not_assessed, last_state, last_values FROM unit \
               WHERE unit = ?";
    let mut select = view.prepare_cached(sql).fail(DOING)?;
    let mut rows = select.query([unit.as_str()]).fail(DOING)?;
    let Some(row) = rows.next().fail(DOING)? else {
        return Ok(None);
    };
    let state: Option<String> = row.get(5).fail(DOING)?;
    let state = state.map(|state| read(&state, || format!("the last state of {unit}"))).transpose()?;
    let values: Option<Vec<u8>> = row.get(6).fail(DOING)?;
    Ok(Some(UnitRecord {
        summary: summary(row)?,
        last_values: unpack(values.as_deref(), unit)?,
        last_state: state.unwrap_or_else(State::default),
    }))
}

fn summary(row: &Row<'_>) -> Result<UnitSummary, CasebookError> {
    let unit = id(row.get_ref(0).fail(DOING)?.as_str().fail(DOING)?)?;
    let description: Option<String> = row.get(1).fail(DOING)?;
    let description =
        description.map(|text| read(&text, || format!("the description of {unit}"))).transpose()?;
    Ok(UnitSummary {
        unit,
        description,
        last_reading: row.get(2).fail(DOING)?,
        rows: row.get::<_, i64>(3).fail(DOING)? as u64,
        not_assessed: row.get::<_, i64>(4).fail(DOING)? as u64,
    })
}
