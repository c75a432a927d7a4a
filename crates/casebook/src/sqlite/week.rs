use std::collections::{HashMap, HashSet};

use rimeline_channels::{DAY_MS, Id, UnixMs};
use rusqlite::{Connection, OptionalExtension, params};

use super::fail::{Fail, damaged, id, read};
use super::{cases, state};
use crate::{CargoClass, Case, CaseStage, CasebookError, Week, WeekUnit};

const DOING: &str = "reading a week";

/// How far back loads say what a unit usually carries.
const USUAL_MS: i64 = 56 * DAY_MS;

pub(super) fn week(
    view: &Connection,
    from: UnixMs,
    until: UnixMs,
    depot: Option<&str>,
) -> Result<Week, CasebookError> {
    let units = units(view, until, depot)?;
    let of_depot: HashSet<&Id> = units.iter().map(|unit| &unit.unit).collect();
    // Cleared before the week for good: not of the week. Cleared since: it may have stood in it.
    let sql = "SELECT body FROM cases WHERE raised_ms < ? AND (cleared_ms IS NULL OR cleared_ms >= ?) ORDER BY case_id";
    let mut candidates = Vec::new();
    cases::each(view.prepare_cached(sql).fail(DOING)?, [until, from], |case| {
        candidates.push(case);
        true
    })?;
    let mut of_week = Vec::with_capacity(candidates.len());
    for case in candidates {
        if depot.is_some() && !of_depot.contains(&case.unit) {
            continue;
        }
        let then = as_of(view, case, until)?;
        if then.cleared.is_none_or(|cleared| cleared >= from) {
            of_week.push(then);
        }
    }
    Ok(Week { from, until, cases: of_week, units })
}

/// A case as it was when the week ended: the last change before then; where that is no longer kept, the case as it is
/// without what is known to have come later.
fn as_of(view: &Connection, case: Case, until: UnixMs) -> Result<Case, CasebookError> {
    if case.updated < until {
        return Ok(case);
    }
    let sql = "SELECT body FROM change WHERE case_id = ? AND updated_ms < ? ORDER BY sequence DESC LIMIT 1";
    let mut select = view.prepare_cached(sql).fail(DOING)?;
    let then: Option<String> =
        select.query_row(params![case.case_id, until], |row| row.get(0)).optional().fail(DOING)?;
    match then {
        Some(then) => read(&then, || format!("a past state of case {}", case.case_id)),
        None => Ok(without_what_came_later(case, until)),
    }
}

fn without_what_came_later(mut case: Case, until: UnixMs) -> Case {
    case.serviced = case.serviced.filter(|&at| at < until);
    if case.cleared.is_some_and(|at| at >= until) {
        case.cleared = None;
        case.stage = CaseStage::Open;
    }
    case
}

fn units(view: &Connection, until: UnixMs, depot: Option<&str>) -> Result<Vec<WeekUnit>, CasebookError> {
    let cargo = usual_cargo(view, until)?;
    let sql = "SELECT unit, depot, (SELECT body FROM judgement WHERE judgement.unit_no = unit.unit_no AND week <= ?1 \
               ORDER BY week DESC LIMIT 1) FROM unit WHERE first_ms < ?2 AND (?3 IS NULL OR depot = ?3) ORDER BY unit";
    let mut select = view.prepare_cached(sql).fail(DOING)?;
    let mut rows =
        select.query(params![state::week_of(until.saturating_sub(1)), until, depot]).fail(DOING)?;
    let mut units = Vec::new();
    while let Some(row) = rows.next().fail(DOING)? {
        let unit = id(row.get_ref(0).fail(DOING)?.as_str().fail(DOING)?)?;
        let judgements: Option<String> = row.get(2).fail(DOING)?;
        let judgements =
            judgements.map(|text| read(&text, || format!("the judgements of {unit}"))).transpose()?;
        units.push(WeekUnit {
            depot: row.get(1).fail(DOING)?,
            usual_cargo: cargo.get(&unit).copied().unwrap_or_default(),
            judgements: judgements.unwrap_or_default(),
            unit,
        });
    }
    Ok(units)
}

/// What each unit carried most often; of classes carried as often, the one more worth protecting. That a unit was
/// empty counts where nothing else was stated.
fn usual_cargo(view: &Connection, until: UnixMs) -> Result<HashMap<Id, CargoClass>, CasebookError> {
    let sql = "SELECT unit, cargo_class, count(*) FROM load WHERE from_ms < ?1 AND coalesce(until_ms, ?1) > ?2 \
               GROUP BY unit, cargo_class";
    let mut select = view.prepare_cached(sql).fail(DOING)?;
    let mut rows = select.query([until, until.saturating_sub(USUAL_MS)]).fail(DOING)?;
    let mut usual: HashMap<Id, (bool, i64, CargoClass)> = HashMap::new();
    while let Some(row) = rows.next().fail(DOING)? {
        let unit = id(row.get_ref(0).fail(DOING)?.as_str().fail(DOING)?)?;
        let class =
            CargoClass::from_number(row.get(1).fail(DOING)?).ok_or_else(|| damaged("the class of a load"))?;
        let told = (class != CargoClass::Empty, row.get(2).fail(DOING)?, class);
        let best = usual.entry(unit).or_insert(told);
        *best = told.max(*best);
    }
    Ok(usual.into_iter().map(|(unit, (_, _, class))| (unit, class)).collect())
}
