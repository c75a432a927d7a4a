use anyhow::{Result, bail};
use comfy_table::Table;
use rimeline_wire::pb;
use rimeline_wire::pb::follow_cases_response::Item;
use serde_json::{Value, json};

use crate::cli::{FeedOptions, PriorityWord};
use crate::client::{Client, refused};
use crate::{serve, show};

pub(crate) async fn run(options: FeedOptions) -> Result<()> {
    let client = Client::connect(&options.server.server).await?;
    let filter = pb::CaseFilter {
        depots: options.depot.clone(),
        units: options.unit.clone(),
        least_priority: options.priority.map_or(0, |word| match word {
            PriorityWord::Low => pb::Priority::Low.into(),
            PriorityWord::Medium => pb::Priority::Medium.into(),
            PriorityWord::High => pb::Priority::High.into(),
        }),
        include_closed: options.all,
        ..pb::CaseFilter::default()
    };
    if options.follow {
        return follow(&client, filter, options.json).await;
    }
    print_now(&client, filter, options.json).await
}

/// The cases as they stand.
pub(crate) async fn print_now(client: &Client, filter: pb::CaseFilter, json: bool) -> Result<()> {
    let request = pb::ListCasesRequest { filter: Some(filter) };
    let answer = client.feed().list_cases(request).await.map_err(refused)?.into_inner();
    if json {
        for case in &answer.cases {
            show::out(&line(case).to_string())?;
        }
        return Ok(());
    }
    if answer.cases.is_empty() {
        return show::out(&format!("No case stands at {}.", show::time(answer.clock_ms)));
    }
    show::out(&cases(&answer.cases).to_string())?;
    show::out(&format!(
        "{} cases at {}. A flag is advice, not a release decision. `rimeline unit UNIT` shows the evidence.",
        answer.cases.len(),
        show::time(answer.clock_ms)
    ))
}

/// The ranked list.
pub(crate) fn cases(cases: &[pb::Case]) -> Table {
    let header = [
        "#",
        "Priority",
        "Unit",
        "Depot",
        "Cargo",
        "What is wrong",
        "How sure",
        "Harm in",
        "Since",
        "First action",
    ];
    let mut table = show::table(&header);
    for (place, case) in cases.iter().enumerate() {
        let mut what = case.headline.clone();
        if case.cleared_ms != 0 {
            what = format!("{what} (closed {})", show::time(case.cleared_ms));
        }
        if case.came_back > 0 {
            what = format!("{what} (came back {}x)", case.came_back);
        }
        if case.late {
            what = format!("{what} (from history)");
        }
        table.add_row([
            (place + 1).to_string(),
            show::priority(case.priority).to_owned(),
            case.unit.clone(),
            case.depot.clone(),
            show::cargo(case.cargo_class),
            what,
            format!("{} ({:.0} %)", case.confidence_words, case.confidence * 100.0),
            case.hours_to_harm.map_or_else(|| "-".to_owned(), show::hours),
            show::time(case.onset_ms),
            show::opening(&case.first_action).to_owned(),
        ]);
    }
    table
}

/// A case in one line, for programs.
pub(crate) fn line(case: &pb::Case) -> Value {
    let evidence = case.evidence.clone().unwrap_or_default();
    let series = evidence.series.iter().map(|series| {
        let times: Vec<_> = series.times_ms.iter().map(|ms| show::rfc3339(*ms)).collect();
        json!({ "name": series.name, "unit": series.unit_of_measure, "times": times, "values": series.values })
    });
    let limits = evidence.limits.iter().map(|limit| json!({ "name": limit.name, "value": limit.value }));
    json!({
        "case": case.case_id,
        "unit": case.unit,
        "depot": case.depot,
        "condition": show::condition(case.condition).replace(' ', "_"),
        "channel": (case.channel != 0).then(|| show::channel(case.channel).replace(' ', "_")),
        "stage": show::stage(case.stage),
        "priority": show::priority(case.priority).to_lowercase(),
        "confidence": case.confidence,
        "confidence_words": case.confidence_words,
        "cargo": show::cargo(case.cargo_class),
        "onset": show::rfc3339(case.onset_ms),
        "raised": show::rfc3339(case.raised_ms),
        "updated": show::rfc3339(case.updated_ms),
        "cleared": show::rfc3339(case.cleared_ms),
        "hours_to_harm": case.hours_to_harm,
        "late": case.late,
        "came_back": case.came_back,
        "acknowledged_by": (!case.acknowledged_by.is_empty()).then_some(&case.acknowledged_by),
        "shelved_until": show::rfc3339(case.shelved_until_ms),
        "headline": case.headline,
        "first_action": case.first_action,
        "cautions": case.cautions,
        "would_clear": case.would_clear,
        "evidence": {
            "statements": evidence.statements,
            "series": series.collect::<Vec<_>>(),
            "limits": limits.collect::<Vec<_>>(),
            "masked": evidence.masked,
            "days_to_limit": evidence.days_to_limit,
            "days_to_limit_early": evidence.days_to_limit_early,
            "days_to_limit_late": evidence.days_to_limit_late,
        },
    })
}

/// Prints changes as they come; after a lost connection it goes on where it was.
async fn follow(client: &Client, filter: pb::CaseFilter, json: bool) -> Result<()> {
    let mut cursor = None;
    loop {
        tokio::select! {
            () = serve::told_to_stop() => return Ok(()),
            ended = follow_once(client, &filter, json, &mut cursor) => {
                let status = ended?;
                if !matches!(status.code(), tonic::Code::Unavailable | tonic::Code::Unknown | tonic::Code::Ok) {
                    return Err(refused(status));
                }
                show::remark("reconnecting ...");
                tokio::time::sleep(std::time::Duration::from_secs(2)).await;
            }
        }
    }
}

async fn follow_once(
    client: &Client,
    filter: &pb::CaseFilter,
    json: bool,
    cursor: &mut Option<pb::Cursor>,
) -> Result<tonic::Status> {
    let request = pb::FollowCasesRequest { cursor: *cursor, filter: Some(filter.clone()) };
    let mut stream = match client.feed().follow_cases(request).await {
        Ok(stream) => stream.into_inner(),
        Err(status) => return Ok(status),
    };
    loop {
        match stream.message().await {
            Ok(Some(message)) => take(message, json, cursor)?,
            Ok(None) => return Ok(tonic::Status::ok("the server ended the feed")),
            Err(status) => return Ok(status),
        }
    }
}

fn take(message: pb::FollowCasesResponse, json: bool, cursor: &mut Option<pb::Cursor>) -> Result<()> {
    match message.item {
        Some(Item::SnapshotStart(start)) => {
            if start.cursor_out_of_range {
                show::remark("the feed no longer holds what was missed; this is how things stand now");
            }
            Ok(())
        }
        Some(Item::SnapshotEnd(end)) => {
            *cursor = end.cursor;
            Ok(())
        }
        Some(Item::Heartbeat(beat)) => {
            *cursor = beat.cursor;
            show::remark(&format!("quiet; the server is alive at {}", show::time(beat.clock_ms)));
            Ok(())
        }
        Some(Item::Changed(changed)) => {
            if changed.cursor.is_some() {
                *cursor = changed.cursor;
            }
            let Some(case) = changed.case else { return Ok(()) };
            if json { show::out(&line(&case).to_string()) } else { show::out(&change(&case)) }
        }
        None => {
            bail!("the server said something that this version does not know; use the same version of both")
        }
    }
}

fn change(case: &pb::Case) -> String {
    let harm =
        case.hours_to_harm.map_or_else(String::new, |hours| format!(", harm in {}", show::hours(hours)));
    format!(
        "{}  {:9} {:6} {}: {} ({}, {:.0} %{harm})  [{}]",
        show::time(case.updated_ms),
        show::stage(case.stage),
        show::priority(case.priority),
        case.unit,
        case.headline,
        case.confidence_words,
        case.confidence * 100.0,
        case.case_id,
    )
}
