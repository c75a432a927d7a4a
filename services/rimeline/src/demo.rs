use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Instant;

use anyhow::{Context, Result};
use futures::{StreamExt, TryStreamExt, stream};
use indicatif::{ProgressBar, ProgressStyle};
use rimeline_channels::{Batch, Id};
use rimeline_clock::WallClock;
use rimeline_fleet_model::{Fleet, Scenario, Truth};
use rimeline_gateway::{Config as GatewayConfig, Gateway};
use rimeline_wire::pb;

use crate::cli::DemoOptions;
use crate::client::{Client, refused};
use crate::config::{ClockWord, Config};
use crate::server::Server;
use crate::{feed, fleet, serve, show, weekly};

const BATCH_ROWS: usize = 2_000;
/// Descriptions and loads that are under way at once.
const AT_ONCE: usize = 256;

pub(crate) async fn run(options: DemoOptions) -> Result<()> {
    let folder = tempfile::tempdir()?;
    let config = Config {
        data: options.data.clone().unwrap_or_else(|| folder.path().to_owned()),
        listen: options.listen,
        clock: ClockWord::Data,
        ..Config::default()
    };
    config.check()?;
    let server = Server::start(&config).await?;
    let url = format!("http://{}", server.address);
    show::out(&format!(
        "rimeline demo: a simulated fleet of our own invention, {} units over {} days. The service listens at {url}, \
         its data is in {}.",
        options.units,
        options.days,
        config.data.display()
    ))?;
    let shown = show_job(&server, &url, &options).await;
    if shown.is_err() || options.exit {
        server.run_until(std::future::ready(())).await?;
        return shown;
    }
    show::out(&format!(
        "The service stays up until interrupted. In another terminal: rimeline feed --server {url}"
    ))?;
    server.run_until(serve::told_to_stop()).await
}

async fn show_job(server: &Server, url: &str, options: &DemoOptions) -> Result<()> {
    let mut scenario = Scenario::demo();
    scenario.seed = options.seed;
    scenario.days = u32::from(options.days);
    scenario.units = u32::from(options.units);
    scenario.faults.retain(|fault| fault.unit < scenario.units && fault.onset_day < f64::from(scenario.days));
    scenario.choices.retain(|choice| choice.unit < scenario.units);
    let mut fleet = Fleet::new(&scenario).context("the simulated fleet cannot be built")?;
    let client = Client::connect(url).await?;
    let started = Instant::now();
    describe(&client, &fleet).await?;
    let rows = push(url, &mut fleet, (scenario.day_ms(0.0), scenario.end())).await?;
    let pushed = started.elapsed();
    server.caught_up().await?;
    let (archived, bytes) = server.archived();
    show::out(&format!(
        "{rows} readings pushed over gRPC, on disk and acknowledged, in {:.1} s; all assessed after {:.1} s; \
         {archived} in Parquet so far, {:.1} MB.",
        pushed.as_secs_f64(),
        started.elapsed().as_secs_f64(),
        bytes as f64 / 1e6
    ))?;

    show::out("\nThe dispatcher's feed\n")?;
    feed::print_now(&client, pb::CaseFilter::default(), false).await?;
    show::out("\nThe planner's weekly list\n")?;
    weekly::print(&client, 0, String::new(), false).await?;
    show::out("\nWhat was truly planted in the simulation\n")?;
    planted(&client, fleet.truth()).await
}

/// Describes units and loads, many at a time: each is answered once it has taken effect.
async fn describe(client: &Client, fleet: &Fleet) -> Result<()> {
    let units = stream::iter(fleet.units()).map(|unit| {
        let mut registry = client.registry();
        let unit = Some(fleet::description(unit));
        async move { registry.describe_unit(pb::DescribeUnitRequest { unit }).await.map(drop) }
    });
    units.buffer_unordered(AT_ONCE).try_collect::<()>().await.map_err(refused)?;
    let loads = stream::iter(fleet.loads()).map(|load| {
        let mut registry = client.registry();
        let load = Some(fleet::load(load));
        async move { registry.put_load(pb::PutLoadRequest { load }).await.map(drop) }
    });
    loads.buffer_unordered(AT_ONCE).try_collect::<()>().await.map_err(refused)
}

/// Pushes every reading in the order of arrival, as fast as the service takes it.
async fn push(url: &str, fleet: &mut Fleet, (start, end): (i64, i64)) -> Result<u64> {
    let ids: Vec<Id> = fleet.units().iter().map(|unit| unit.id.clone()).collect();
    let gateway = GatewayConfig::new(url, Id::new("demo-yard")?);
    let gateway = Gateway::connect(gateway, Arc::new(WallClock::default())).await?;
    let style = ProgressStyle::with_template("{bar:40} {percent} %  {msg}, {elapsed} so far")?;
    let bar = ProgressBar::new((end - start).unsigned_abs()).with_style(style);
    let mut batch = Batch::default();
    let mut rows = 0;
    while let Some(delivery) = fleet.next_delivery() {
        let unit = batch.unit_index(&ids[delivery.unit]);
        batch.push(unit, delivery.reading);
        for event in delivery.events {
            batch.events.push(rimeline_channels::Event { unit, ..event.clone() });
        }
        rows += 1;
        if batch.rows() >= BATCH_ROWS {
            bar.set_position((delivery.arrived - start).unsigned_abs());
            bar.set_message(show::time(delivery.arrived));
            gateway.send(&std::mem::take(&mut batch)).await?;
        }
    }
    gateway.send(&batch).await?;
    gateway.finish().await?;
    bar.finish_and_clear();
    Ok(rows)
}

/// Beside each planted fault, what was said of its unit.
async fn planted(client: &Client, truth: &[Truth]) -> Result<()> {
    let filter = pb::CaseFilter { include_closed: true, ..pb::CaseFilter::default() };
    let request = pb::ListCasesRequest { filter: Some(filter) };
    let cases = client.feed().list_cases(request).await.map_err(refused)?.into_inner().cases;
    let mut of_unit: BTreeMap<&str, Vec<&pb::Case>> = BTreeMap::new();
    for case in &cases {
        of_unit.entry(&case.unit).or_default().push(case);
    }
    let mut table =
        show::table(&["Unit", "Planted", "Since", "Service now", "Stopped", "Said of this unit, when"]);
    for fault in truth {
        let said = of_unit.remove(fault.unit.as_str()).unwrap_or_default();
        let said = said
            .iter()
            .map(|case| format!("{} {}", show::condition(case.condition), show::time(case.raised_ms)));
        let kind = format!("{:?}", fault.kind);
        let mut words = String::new();
        for letter in kind.chars() {
            if letter.is_uppercase() && !words.is_empty() {
                words.push(' ');
            }
            words.extend(letter.to_lowercase());
        }
        table.add_row([
            fault.unit.to_string(),
            fault.channel.map_or_else(|| words.clone(), |channel| format!("{words}, {channel}")),
            show::time(fault.onset_ms),
            show::time(fault.service_now_ms.unwrap_or(0)),
            show::time(fault.breakdown_ms.unwrap_or(0)),
            said.collect::<Vec<_>>().join("\n"),
        ]);
    }
    show::out(&table.to_string())?;
    for (unit, cases) in of_unit {
        for case in cases {
            show::out(&format!("Nothing is planted on {unit}; said: {}", case.headline))?;
        }
    }
    Ok(())
}
