use rimeline_casebook::WeeklyList;

use super::case::case;
use crate::pb;

/// The weekly list for people.
pub fn weekly_list(list: &WeeklyList) -> pb::GetWeeklyListResponse {
    let items = list.items.iter().map(|item| pb::WeeklyItem {
        rank: item.rank,
        unit: item.unit.to_string(),
        depot: item.depot.clone(),
        usual_cargo: item.usual_cargo.number(),
        cases: item.cases.iter().map(case).collect(),
        why: item.why.clone(),
        bring_in_for: item.bring_in_for.clone(),
        before_ms: item.before.unwrap_or(0),
    });
    let not_judged = list.not_judged.iter().map(|entry| pb::NotJudged {
        unit: entry.unit.to_string(),
        condition: entry.condition.map_or(0, |condition| condition as i32),
        reason: entry.reason.clone(),
    });
    pb::GetWeeklyListResponse {
        from_ms: list.from,
        until_ms: list.until,
        items: items.collect(),
        not_judged: not_judged.collect(),
        healthy_units: list.healthy_units,
    }
}
