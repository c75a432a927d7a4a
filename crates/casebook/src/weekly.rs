//! The maintenance planner's list of a week. Pure: the same [`Week`] gives the same list.

use std::cmp::Ordering;
use std::collections::{BTreeMap, BTreeSet};

use rimeline_channels::{DAY_MS, Id, UnixMs};
use rimeline_detector::{Condition, Judgement, Verdict};
use serde::{Deserialize, Serialize};

use crate::{CargoClass, Case, CaseStage, Priority, rank::compare, routing::cargo_weight, texts};

/// What a weekly list is made from.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Week {
    /// The first moment of the week.
    pub from: UnixMs,
    /// The moment after the last.
    pub until: UnixMs,
    /// Cases that stood at any time of the week, each as it was when the week ended.
    pub cases: Vec<Case>,
    /// Every unit that was known when the week ended.
    pub units: Vec<WeekUnit>,
}

/// A unit in a week.
#[derive(Clone, Debug, PartialEq)]
pub struct WeekUnit {
    /// The unit.
    pub unit: Id,
    /// Where it belongs.
    pub depot: String,
    /// What it carried most often before the week ended.
    pub usual_cargo: CargoClass,
    /// What each test made of it when the week ended.
    pub judgements: Vec<Judgement>,
}

/// What to bring in, and what could not be judged.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct WeeklyList {
    /// The first moment of the week.
    pub from: UnixMs,
    /// The moment after the last.
    pub until: UnixMs,
    /// What to bring in, the most pressing first.
    pub items: Vec<WeeklyItem>,
    /// What could not be judged, by unit and condition.
    pub not_judged: Vec<NotJudged>,
    /// Units on which at least one test could decide and nothing was found.
    pub healthy_units: u32,
}

/// A unit to bring in.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct WeeklyItem {
    /// Its place, from 1.
    pub rank: u32,
    /// The unit.
    pub unit: Id,
    /// Where it belongs.
    pub depot: String,
    /// What it usually carries.
    pub usual_cargo: CargoClass,
    /// Everything found on it, the most pressing first; what cleared during the week last.
    pub cases: Vec<Case>,
    /// Why it stands here, in one sentence.
    pub why: String,
    /// The work, and what to have at hand.
    pub bring_in_for: String,
    /// Bring in before then; not before the week's end. `None`: no date can be given.
    pub before: Option<UnixMs>,
}

/// A test that could not judge a unit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct NotJudged {
    /// The unit.
    pub unit: Id,
    /// The test; `None`: none of them.
    pub condition: Option<Condition>,
    /// Why.
    pub reason: String,
}

impl Week {
    /// The list of this week.
    pub fn list(&self) -> WeeklyList {
        let mut of_unit: BTreeMap<&Id, Vec<&Case>> = BTreeMap::new();
        for case in &self.cases {
            of_unit.entry(&case.unit).or_default().push(case);
        }
        let known: BTreeMap<&Id, &WeekUnit> = self.units.iter().map(|unit| (&unit.unit, unit)).collect();
        let mut items: Vec<WeeklyItem> = of_unit
            .iter()
            .filter(|(_, cases)| cases.iter().any(|case| is_work(case)))
            .map(|(unit, cases)| self.item(known.get(*unit).copied(), cases))
            .collect();
        items.sort_by(order);
        for (place, item) in items.iter_mut().enumerate() {
            item.rank = place as u32 + 1;
        }
        let mut list = WeeklyList { from: self.from, until: self.until, items, ..WeeklyList::default() };
        let none = Vec::new();
        for unit in known.values() {
            let cases = of_unit.get(&unit.unit).unwrap_or(&none);
            not_judged(unit, cases, &mut list.not_judged);
            let quiet = unit.judgements.iter().any(|judgement| judgement.verdict == Verdict::Quiet);
            list.healthy_units += u32::from(cases.is_empty() && quiet);
        }
        list
    }

    fn item(&self, unit: Option<&WeekUnit>, cases: &[&Case]) -> WeeklyItem {
        let mut cases: Vec<Case> = cases.iter().map(|&case| case.clone()).collect();
        cases.sort_by(|a, b| {
            let date = |case: &Case| before(case).unwrap_or(UnixMs::MAX).max(self.until);
            let work_first = is_work(b).cmp(&is_work(a));
            work_first.then_with(|| date(a).cmp(&date(b))).then_with(|| compare(a, b, self.until))
        });
        let before = cases.iter().filter(|case| is_work(case)).filter_map(before).min();
        WeeklyItem {
            rank: 0,
            unit: cases[0].unit.clone(),
            depot: unit.map_or_else(|| cases[0].depot.clone(), |unit| unit.depot.clone()),
            usual_cargo: unit.map_or(CargoClass::Unknown, |unit| unit.usual_cargo),
            why: why(&cases),
            bring_in_for: bring_in_for(&cases),
            before: before.map(|before| before.max(self.until)),
            cases,
        }
    }
}

/// Whether a case is work for a workshop: it stands, or it went and came back before, and nobody repaired it since.
fn is_work(case: &Case) -> bool {
    case.stands() || (case.stage == CaseStage::Closed && case.came_back > 0 && case.serviced.is_none())
}

/// The early end of the forecast; without one, a time by priority.
fn before(case: &Case) -> Option<UnixMs> {
    if let Some(days) = case.evidence.days_to_limit_early.or(case.evidence.days_to_limit) {
        return Some(case.judged.saturating_add((days.max(0.0) * DAY_MS as f64) as i64));
    }
    let days = match case.priority {
        Priority::High => 1,
        Priority::Medium => 7,
        Priority::Low => 28,
    };
    case.raised.map(|raised| raised.saturating_add(days * DAY_MS))
}

/// First what must come in first; of one date, what presses and weighs most.
fn order(a: &WeeklyItem, b: &WeeklyItem) -> Ordering {
    let date = |item: &WeeklyItem| item.before.unwrap_or(UnixMs::MAX);
    let work = |item: &WeeklyItem| item.cases.iter().filter(|case| is_work(case)).count();
    let priority = |item: &WeeklyItem| item.cases.iter().filter(|c| is_work(c)).map(|c| c.priority).max();
    let weight = |item: &WeeklyItem| {
        let case = |c: &Case| c.confidence * cargo_weight(c.cargo_class.max(item.usual_cargo));
        item.cases.iter().filter(|c| is_work(c)).map(case).fold(0.0, f64::max)
    };
    date(a)
        .cmp(&date(b))
        .then_with(|| priority(b).cmp(&priority(a)))
        .then_with(|| weight(b).total_cmp(&weight(a)))
        .then_with(|| work(b).cmp(&work(a)))
        .then_with(|| a.unit.cmp(&b.unit))
}

fn why(cases: &[Case]) -> String {
    let first = &cases[0];
    let came_back = match first.came_back {
        0 => String::new(),
        1 => ", came back once".to_owned(),
        times => format!(", came back {times} times"),
    };
    let others = match cases.iter().skip(1).filter(|case| is_work(case)).count() {
        0 => String::new(),
        1 => "; one more finding".to_owned(),
        more => format!("; {more} more findings"),
    };
    format!("{} ({}){came_back}{others}.", first.headline.trim_end_matches('.'), first.confidence_words)
}

fn bring_in_for(cases: &[Case]) -> String {
    let mut named = BTreeSet::new();
    let works = cases.iter().filter(|case| is_work(case) && named.insert(case.condition));
    works.map(|case| texts::of(case.condition).work).collect::<Vec<_>>().join(" ")
}

fn not_judged(unit: &WeekUnit, cases: &[&Case], into: &mut Vec<NotJudged>) {
    let could_not =
        |judgement: &&Judgement| matches!(judgement.verdict, Verdict::Abstains | Verdict::Learning);
    if unit.judgements.iter().all(|judgement| could_not(&judgement)) {
        let reason = match unit.judgements.first() {
            None => "Nothing was judged: it has not reported enough.".to_owned(),
            Some(first) => {
                format!("No test could decide. {}: {}", texts::of(first.condition).title, first.reason)
            }
        };
        into.push(NotJudged { unit: unit.unit.clone(), condition: None, reason });
        return;
    }
    let mut missing: Vec<NotJudged> = unit
        .judgements
        .iter()
        .filter(could_not)
        .filter(|judgement| !cases.iter().any(|case| case.stands() && case.condition == judgement.condition))
        .map(|judgement| NotJudged {
            unit: unit.unit.clone(),
            condition: Some(judgement.condition),
            reason: judgement.reason.clone(),
        })
        .collect();
    missing.sort_by_key(|missing| missing.condition);
    into.extend(missing);
}
