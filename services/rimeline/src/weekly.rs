use anyhow::Result;
use rimeline_wire::pb;
use serde_json::json;

use crate::cli::WeeklyOptions;
use crate::client::{Client, refused};
use crate::{feed, show};

pub(crate) async fn run(options: WeeklyOptions) -> Result<()> {
    let client = Client::connect(&options.server.server).await?;
    let until_ms = options.until.as_deref().map_or(Ok(0), show::parse_time)?;
    print(&client, until_ms, options.depot.unwrap_or_default(), options.json).await
}

/// The list of the week that ends at `until_ms`, 0 for now.
pub(crate) async fn print(client: &Client, until_ms: i64, depot: String, json: bool) -> Result<()> {
    let request = pb::GetWeeklyListRequest { until_ms, depot };
    let list = client.weekly().get_weekly_list(request).await.map_err(refused)?.into_inner();
    if json {
        for item in &list.items {
            show::out(&line(item).to_string())?;
        }
        return Ok(());
    }
    show::out(&format!("Week {} to {} (UTC)", show::time(list.from_ms), show::time(list.until_ms)))?;
    let mut table =
        show::table(&["#", "Unit", "Depot", "Usual cargo", "Before", "Bring in for", "Why", "Trend"]);
    for item in &list.items {
        let trend = item.cases.first().and_then(|case| case.evidence.as_ref()).and_then(|e| e.series.first());
        table.add_row([
            item.rank.to_string(),
            item.unit.clone(),
            item.depot.clone(),
            show::cargo(item.usual_cargo),
            show::day(item.before_ms),
            item.bring_in_for.clone(),
            item.why.clone(),
            trend.map_or_else(String::new, |series| show::strip(&series.values, 20)),
        ]);
    }
    show::out(&table.to_string())?;
    not_judged(&list)?;
    show::out(&format!("{} units without a finding.", list.healthy_units))
}

/// Units that could not be judged, those with the same reason in one line.
fn not_judged(list: &pb::GetWeeklyListResponse) -> Result<()> {
    let mut reasons: Vec<(String, Vec<&str>)> = Vec::new();
    for entry in &list.not_judged {
        let test =
            if entry.condition == 0 { "any test".to_owned() } else { show::condition(entry.condition) };
        let reason = format!("{test}: {}", kind_of(&entry.reason));
        match reasons.iter_mut().find(|(known, _)| *known == reason) {
            Some((_, units)) => units.push(&entry.unit),
            None => reasons.push((reason, vec![&entry.unit])),
        }
    }
    if reasons.is_empty() {
        return Ok(());
    }
    show::out("Could not be judged:")?;
    for (reason, units) in reasons {
        let shown = units.iter().take(8).copied().collect::<Vec<_>>().join(", ");
        let more = if units.len() > 8 { format!(" and {} more", units.len() - 8) } else { String::new() };
        show::out(&format!("  {reason} ({shown}{more})"))?;
    }
    Ok(())
}

/// A reason without what differs from unit to unit, so that units with the same trouble share a line: how much has
/// been learned so far, and in which mode.
fn kind_of(reason: &str) -> String {
    let (reason, _) = reason.split_once(" (").unwrap_or((reason, ""));
    match reason.split_once(" of ") {
        Some((learned, rest)) if learned.bytes().all(|b| b.is_ascii_digit()) => format!("not yet {rest}"),
        _ => reason.to_owned(),
    }
}

fn line(item: &pb::WeeklyItem) -> serde_json::Value {
    json!({
        "rank": item.rank,
        "unit": item.unit,
        "depot": item.depot,
        "usual_cargo": show::cargo(item.usual_cargo),
        "why": item.why,
        "bring_in_for": item.bring_in_for,
        "before": show::rfc3339(item.before_ms),
        "cases": item.cases.iter().map(feed::line).collect::<Vec<_>>(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units_that_are_still_learning_share_a_line_whatever_they_have_learned() {
        assert_eq!(
            kind_of("3 of 21 days of full cooling learned (on the engine)"),
            "not yet 21 days of full cooling learned"
        );
        assert_eq!(kind_of("discharge pressure is not fitted"), "discharge pressure is not fitted");
    }
}
