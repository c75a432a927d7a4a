use std::fs::File;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use anyhow::{Context, Result, bail};
use indicatif::{ProgressBar, ProgressStyle};
use rimeline_channels::Id;
use rimeline_clock::WallClock;
use rimeline_gateway::{Config, Gateway, Notice, Totals};
use rimeline_mapping::{Import, Mapping, Source};
use rimeline_wire::pb;
use sha2::{Digest, Sha256};

use crate::cli::PushOptions;
use crate::client::{Client, refused};
use crate::{registry, show};

/// How long the server may take to answer for the first time.
const REACH_WITHIN: Duration = Duration::from_secs(30);
/// Refusals that are printed word for word.
const SHOWN_REFUSALS: u32 = 20;

pub(crate) async fn run(options: PushOptions) -> Result<()> {
    let mapping = Mapping::read(&options.mapping)?;
    let client = Client::connect(&options.server.server).await?;
    // Of other content under the same given name, nothing may pass for sent already.
    let content = content_name(&options.mapping, &options.files)?;
    let name = options.gateway.map_or_else(|| content.clone(), |given| format!("{given}.{content}"));
    let mut config = Config::new(&options.server.server, Id::new(&name)?);
    // The same content is the same batches under the same name.
    config.epoch = Some(1);
    config.repeatable = true;
    let gateway = Gateway::connect_with(config, Arc::new(WallClock::default()), Arc::new(tell)).await?;
    gateway.reached(REACH_WITHIN).await?;

    let mut import = mapping.import(options.files.iter().map(Source::path).collect());
    let bar = bar();
    let sent = send_all(&client, &gateway, &mapping, &mut import, &bar).await;
    let totals = match sent {
        Ok(()) => gateway.finish().await?,
        Err(error) => {
            bar.abandon();
            return Err(error);
        }
    };
    bar.finish_and_clear();
    report(&import, &totals)?;
    let unread = options.files.len() as u64 - import.counts().files;
    if unread > 0 {
        bail!("{unread} of {} files could not be read; the others were pushed", options.files.len());
    }
    Ok(())
}

async fn send_all(
    client: &Client,
    gateway: &Gateway,
    mapping: &Mapping,
    import: &mut Import<'_>,
    bar: &ProgressBar,
) -> Result<()> {
    let mut described: Vec<Id> = Vec::new();
    while let Some(batch) = import.next_batch() {
        for unit in &batch.units {
            if !described.contains(unit) {
                describe(client, mapping, unit).await?;
                described.push(unit.clone());
            }
        }
        gateway.send(&batch).await?;
        bar.set_position(import.counts().rows_given);
    }
    Ok(())
}

/// Tells the registry what the mapping says of a unit, before its first reading.
async fn describe(client: &Client, mapping: &Mapping, unit: &Id) -> Result<()> {
    if let Some(said) = mapping.description_of(unit) {
        let unit = Some(registry::description(unit, &said)?);
        client.registry().describe_unit(pb::DescribeUnitRequest { unit }).await.map_err(refused)?;
    }
    if let Some(said) = mapping.load_of(unit) {
        let load = Some(registry::load(unit, &said)?);
        client.registry().put_load(pb::PutLoadRequest { load }).await.map_err(refused)?;
    }
    Ok(())
}

fn report(import: &Import<'_>, totals: &Totals) -> Result<()> {
    if import.problems().total() > 0 {
        show::remark(import.problems().to_string().trim_end());
    }
    for (reason, count) in &totals.refusals {
        let reason = show::word(reason.as_str_name(), "REFUSAL_REASON_");
        show::remark(&format!("refused by the server: {count} x {reason}"));
    }
    let counts = import.counts();
    let mut text = format!(
        "{} rows of {} units read from {} files; {} stored on the server's disk",
        counts.rows_given,
        import.units().len(),
        counts.files,
        totals.rows
    );
    if totals.late > 0 {
        text = format!("{text}, {} of them late", totals.late);
    }
    if totals.duplicate > 0 {
        text = format!("{text}; {} batches were there already", totals.duplicate);
    }
    show::out(&format!("{text}."))
}

fn tell(notice: Notice) {
    match notice {
        Notice::Disconnected { reason, retry_in } => {
            show::remark(&format!(
                "the server is gone ({reason}); trying again in {:.1} s",
                retry_in.as_secs_f64()
            ));
        }
        Notice::Receipt(receipt) => {
            for refusal in receipt.refusals.iter().filter(|refusal| refusal.index < SHOWN_REFUSALS) {
                show::remark(&format!("refused: {}", refusal.message));
            }
        }
        _ => {}
    }
}

fn bar() -> ProgressBar {
    let style = ProgressStyle::with_template("{spinner} {human_pos} rows, {per_sec}, {elapsed}");
    ProgressBar::new_spinner().with_style(style.unwrap_or_else(|_| ProgressStyle::default_spinner()))
}

/// A name that is the same for the same mapping and the same files.
fn content_name(mapping: &Path, files: &[std::path::PathBuf]) -> Result<String> {
    let mut hash = Sha256::new();
    for path in [mapping].into_iter().chain(files.iter().map(AsRef::as_ref)) {
        // A file that cannot be read is reported when its turn comes; it has no part in the name.
        if let Ok(mut file) = File::open(path) {
            std::io::copy(&mut file, &mut hash)
                .with_context(|| format!("{} cannot be read", path.display()))?;
        }
    }
    let digest = hash.finalize();
    Ok(digest[..12].iter().fold("push-".to_owned(), |name, byte| format!("{name}{byte:02x}")))
}
