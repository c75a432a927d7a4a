use std::collections::BTreeMap;
use std::fmt::Write;

use anyhow::Result;
use rimeline_channels::{Absence, Channel};
use rimeline_wire::pb;
use serde_json::json;

use crate::cli::UnitOptions;
use crate::client::{Client, refused};
use crate::{feed, show};

pub(crate) async fn run(options: UnitOptions) -> Result<()> {
    let client = Client::connect(&options.server.server).await?;
    if options.from.is_some() {
        return history(&client, &options).await;
    }
    let request = pb::GetUnitRequest { unit: options.unit };
    let unit = client.unit().get_unit(request).await.map_err(refused)?.into_inner();
    if options.json { show::out(&object(&unit).to_string()) } else { print(&unit) }
}

fn print(unit: &pb::GetUnitResponse) -> Result<()> {
    show::out(&heading(unit))?;
    let open = unit.cases.iter().filter(|case| case.cleared_ms == 0).count();
    show::out(&format!("\n{open} cases stand, {} closed.", unit.cases.len() - open))?;
    for case in &unit.cases {
        show::out(&explain(case))?;
    }
    let mut table = show::table(&["Test", "Says", "Could decide", "Why"]);
    for judgement in &unit.judgements {
        let verdict = pb::Verdict::try_from(judgement.verdict);
        table.add_row([
            show::condition(judgement.condition),
            verdict.map_or_else(|_| "-".to_owned(), |v| show::word(v.as_str_name(), "VERDICT_")),
            format!("{:.0} %", judgement.able_to_decide * 100.0),
            judgement.reason.clone(),
        ]);
    }
    show::out(&table.to_string())?;
    let mut table = show::table(&["Channel", "Now", "At"]);
    for last in &unit.last_values {
        table.add_row([show::channel(last.channel), value(last), show::time(last.time_ms)]);
    }
    show::out(&table.to_string())?;
    for mark in &unit.marks {
        show::out(&format!(
            "Set aside: {} {} at {}: {} (about {} was to be expected)",
            show::channel(mark.channel),
            mark.value,
            show::time(mark.time_ms),
            mark.what,
            mark.expected
        ))?;
    }
    Ok(())
}

fn heading(unit: &pb::GetUnitResponse) -> String {
    let summary = unit.unit.clone().unwrap_or_default();
    let mut text = format!("Unit {}", summary.unit);
    match &summary.description {
        Some(description) => {
            let (depot, zone, family) = (&description.depot, &description.time_zone, &description.family);
            let _ = write!(text, "  {depot}  {zone}  family {family}");
        }
        None => text.push_str("  not yet described: describe it so that pressures and peers can be judged"),
    }
    let late = summary.readings_not_assessed;
    let _ =
        write!(text, "\n{} readings, the last at {}", summary.readings, show::time(summary.last_reading_ms));
    if late > 0 {
        let _ = write!(text, "; {late} came too late to be assessed and are in the archive");
    }
    if let Some(state) = &unit.last_state {
        let _ = write!(
            text,
            "\nState: power {}, {}, {}, {}, door {}",
            show::word(state.power().as_str_name(), "POWER_"),
            show::word(state.drive().as_str_name(), "DRIVE_"),
            show::word(state.running_mode().as_str_name(), "RUNNING_MODE_"),
            show::word(state.stage().as_str_name(), "STAGE_"),
            show::word(state.door().as_str_name(), "DOOR_"),
        );
    }
    if let Some(load) = &unit.load {
        let (low, high) = (load.set_point_cel - load.band_below_k, load.set_point_cel + load.band_above_k);
        let _ = write!(text, "\nLoad {}: {}, {low} to {high} Cel", load.load, show::cargo(load.cargo_class));
    }
    text
}

fn value(last: &pb::LastValue) -> String {
    match (last.value, Channel::from_number(last.channel)) {
        (Some(value), Some(channel)) => format!("{value} {}", channel.spec().measure.code()),
        (Some(value), None) => value.to_string(),
        (None, _) => {
            Absence::from_number(last.status).map_or_else(String::new, |a| a.name().replace('_', " "))
        }
    }
}

/// A case so that a technician believes it.
fn explain(case: &pb::Case) -> String {
    let evidence = case.evidence.clone().unwrap_or_default();
    let mut text = format!(
        "\n{} {}  [{}, {}]\n  {}\n  Since {} (estimated), raised {}, {}: {} ({:.0} %)",
        if case.cleared_ms == 0 { "►" } else { "·" },
        show::condition(case.condition),
        case.case_id,
        show::stage(case.stage),
        case.headline,
        show::time(case.onset_ms),
        show::time(case.raised_ms),
        if case.cleared_ms == 0 {
            "stands".to_owned()
        } else {
            format!("cleared {}", show::time(case.cleared_ms))
        },
        case.confidence_words,
        case.confidence * 100.0,
    );
    for statement in &evidence.statements {
        let _ = write!(text, "\n  - {statement}");
    }
    for series in &evidence.series {
        let strip = show::strip(&series.values, 60);
        let ends = series.values.first().zip(series.values.last());
        if let Some((first, last)) = ends {
            let _ =
                write!(text, "\n  {}: {first:.1} {strip} {last:.1} {}", series.name, series.unit_of_measure);
        }
    }
    for limit in &evidence.limits {
        let _ = write!(text, "\n    {}: {:.1}", limit.name, limit.value);
    }
    if let Some(early) = evidence.days_to_limit_early {
        let late =
            evidence.days_to_limit_late.map_or_else(|| "may never".to_owned(), |days| format!("{days:.0}"));
        let _ = write!(text, "\n  Days to the limit: {early:.0} to {late} (90 %)");
    }
    for masked in &evidence.masked {
        let _ = write!(text, "\n  Left out: {masked}");
    }
    let _ = write!(text, "\n  First: {}\n  Would clear it: {}", case.first_action, case.would_clear);
    for caution in &case.cautions {
        let _ = write!(text, "\n  Caution: {caution}");
    }
    text
}

fn object(unit: &pb::GetUnitResponse) -> serde_json::Value {
    let summary = unit.unit.clone().unwrap_or_default();
    let judgements = unit.judgements.iter().map(|judgement| {
        let verdict = pb::Verdict::try_from(judgement.verdict);
        json!({
            "condition": show::condition(judgement.condition).replace(' ', "_"),
            "verdict": verdict.map_or_else(|_| "-".to_owned(), |v| show::word(v.as_str_name(), "VERDICT_")),
            "reason": judgement.reason,
            "able_to_decide": judgement.able_to_decide,
        })
    });
    let marks = unit.marks.iter().map(|mark| {
        json!({
            "channel": show::channel(mark.channel).replace(' ', "_"),
            "time": show::rfc3339(mark.time_ms),
            "value": mark.value,
            "expected": mark.expected,
            "what": mark.what,
        })
    });
    let last = unit.last_values.iter().map(|last| {
        let absent = Absence::from_number(last.status).map(Absence::name);
        json!({
            "channel": show::channel(last.channel).replace(' ', "_"),
            "value": last.value,
            "absent": absent,
            "time": show::rfc3339(last.time_ms),
        })
    });
    json!({
        "unit": summary.unit,
        "described": summary.described,
        "depot": summary.description.as_ref().map(|d| &d.depot),
        "readings": summary.readings,
        "readings_not_assessed": summary.readings_not_assessed,
        "last_reading": show::rfc3339(summary.last_reading_ms),
        "cases": unit.cases.iter().map(feed::line).collect::<Vec<_>>(),
        "judgements": judgements.collect::<Vec<_>>(),
        "marks": marks.collect::<Vec<_>>(),
        "last_values": last.collect::<Vec<_>>(),
    })
}

/// Readings of a span as CSV: time, then a column a channel.
async fn history(client: &Client, options: &UnitOptions) -> Result<()> {
    let channel = |name: &String| Ok(Channel::from_name(name)?.number());
    let request = pb::GetHistoryRequest {
        unit: options.unit.clone(),
        from_ms: options.from.as_deref().map_or(Ok(0), show::parse_time)?,
        until_ms: options.until.as_deref().map_or(Ok(i64::MAX), show::parse_time)?,
        channels: options.channel.iter().map(channel).collect::<Result<_>>()?,
        max_points: 0,
    };
    let mut stream = client.unit().get_history(request).await.map_err(refused)?.into_inner();
    let mut channels = Vec::new();
    let mut rows: BTreeMap<i64, BTreeMap<i32, f64>> = BTreeMap::new();
    while let Some(message) = stream.message().await.map_err(refused)? {
        for column in message.columns {
            if !channels.contains(&column.channel) {
                channels.push(column.channel);
            }
            for (time, value) in column.times_ms.iter().zip(column.values) {
                rows.entry(*time).or_default().insert(column.channel, value);
            }
        }
    }
    channels.sort_unstable();
    let names = channels.iter().map(|number| show::channel(*number).replace(' ', "_"));
    show::out(&["time".to_owned()].into_iter().chain(names).collect::<Vec<_>>().join(","))?;
    for (time, values) in rows {
        let cells = channels.iter().map(|c| values.get(c).map_or_else(String::new, ToString::to_string));
        let time = show::rfc3339(time).unwrap_or_default();
        show::out(&[time].into_iter().chain(cells).collect::<Vec<_>>().join(","))?;
    }
    Ok(())
}
