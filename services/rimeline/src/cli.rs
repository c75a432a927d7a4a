use std::path::PathBuf;

use clap::{Args, CommandFactory, Parser, Subcommand, ValueEnum};
use clap_complete::Shell;

/// Where a server listens unless told otherwise.
pub(crate) const DEFAULT_LISTEN: &str = "127.0.0.1:7420";
const DEFAULT_SERVER: &str = "http://127.0.0.1:7420";

/// Watches a fleet of refrigerated units and says which need attention, before they break down.
#[derive(Debug, Parser)]
#[command(name = "rimeline", version, about)]
pub(crate) struct Cli {
    #[command(subcommand)]
    pub(crate) command: Command,
}

#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    /// Run the service: take readings in, archive them, assess them, serve the feed and the weekly list.
    #[command(after_help = "Examples:\n  rimeline serve --data /var/lib/rimeline\n  \
        rimeline serve --data ./replay --clock data   # recorded readings are lived through as they are pushed")]
    Serve(ServeOptions),
    /// Show the whole job on a simulated fleet: push 60 days of 60 units, then the feed and the weekly list.
    #[command(
        after_help = "Examples:\n  rimeline demo\n  rimeline demo --exit\n  rimeline demo --units 12 --days 40 --exit"
    )]
    Demo(DemoOptions),
    /// Push readings from CSV or Parquet files through a mapping.
    #[command(
        after_help = "Example:\n  rimeline push --mapping yard.toml readings-2026-03.csv readings-2026-04.csv"
    )]
    Push(PushOptions),
    /// The dispatcher's feed: units that need attention, the most pressing first.
    #[command(
        after_help = "Examples:\n  rimeline feed\n  rimeline feed --follow --depot \"North Quay\"\n  rimeline feed --all --json > cases.jsonl"
    )]
    Feed(FeedOptions),
    /// The maintenance planner's weekly list: what to bring in, in which order, and why.
    #[command(after_help = "Examples:\n  rimeline weekly\n  rimeline weekly --until 2026-03-02 --json")]
    Weekly(WeeklyOptions),
    /// One unit: how it stands, its cases with their evidence, what each test makes of it, what it reported.
    #[command(
        after_help = "Examples:\n  rimeline unit T-014\n  rimeline unit T-014 --from 2026-03-01 --until 2026-03-02 --channel return_air_control"
    )]
    Unit(UnitOptions),
    /// Write down what was done about a case, and show what people wrote on it.
    #[command(after_help = "Examples:\n  rimeline case deqd-bcna-vzwe acknowledge --by Ana\n  \
        rimeline case deqd-bcna-vzwe shelve --by Ana --until 2026-06-14T06:00:00Z --text \"parked until Monday\"")]
    Case(CaseOptions),
    /// List the channel catalogue.
    Channels,
    /// Check every file of an archive against its manifest. The service may be running.
    Verify {
        /// The data folder.
        #[arg(long)]
        data: PathBuf,
    },
    /// Mend a damaged journal: keep a copy of what is damaged, cut it off, and say what is lost. Stop the service first.
    Repair {
        /// The data folder.
        #[arg(long)]
        data: PathBuf,
    },
    /// Print a completion script for a shell.
    Completion {
        /// The shell.
        shell: Shell,
    },
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub(crate) enum ClockKind {
    /// Wall time: old readings are history, archived, assessed and marked as late.
    #[default]
    Wall,
    /// Time follows the data: recorded readings, pushed in their order of arrival, are lived through.
    Data,
}

#[derive(Args, Debug)]
pub(crate) struct ServeOptions {
    /// Configuration file (TOML). Every key can also be set as `RIMELINE_SECTION__KEY`.
    #[arg(long, env = "RIMELINE_CONFIG")]
    pub(crate) config: Option<PathBuf>,
    /// Folder for journal, archive and casebook.
    #[arg(long)]
    pub(crate) data: Option<PathBuf>,
    /// Address to listen on.
    #[arg(long)]
    pub(crate) listen: Option<std::net::SocketAddr>,
    /// What the service's clock follows.
    #[arg(long, value_enum)]
    pub(crate) clock: Option<ClockKind>,
    /// Write the address that is listened on into this file once the service is ready.
    #[arg(long)]
    pub(crate) address_file: Option<PathBuf>,
}

#[derive(Args, Debug)]
pub(crate) struct DemoOptions {
    /// End after the weekly list instead of staying up.
    #[arg(long)]
    pub(crate) exit: bool,
    /// Units to simulate.
    #[arg(long, default_value_t = 60, value_parser = clap::value_parser!(u16).range(1..=2000))]
    pub(crate) units: u16,
    /// Days to simulate.
    #[arg(long, default_value_t = 60, value_parser = clap::value_parser!(u16).range(1..=365))]
    pub(crate) days: u16,
    /// Seed of the simulation.
    #[arg(long, default_value_t = 1)]
    pub(crate) seed: u64,
    /// Keep the data in this folder instead of a temporary one.
    #[arg(long)]
    pub(crate) data: Option<PathBuf>,
    /// Address to listen on.
    #[arg(long, default_value = "127.0.0.1:0")]
    pub(crate) listen: std::net::SocketAddr,
}

#[derive(Args, Debug)]
pub(crate) struct ServerOption {
    /// The server.
    #[arg(long, env = "RIMELINE_SERVER", default_value = DEFAULT_SERVER)]
    pub(crate) server: String,
}

#[derive(Args, Debug)]
pub(crate) struct PushOptions {
    #[command(flatten)]
    pub(crate) server: ServerOption,
    /// The mapping (TOML): which column is which channel of which unit.
    #[arg(long)]
    pub(crate) mapping: PathBuf,
    /// Name of the sending gateway, at most 34 characters; what is made from the content is added to it. Default: made from the mapping and the files, so that a push that was broken off
    /// goes on where it was, and the same push twice stores once.
    #[arg(long)]
    pub(crate) gateway: Option<String>,
    /// CSV or Parquet files.
    #[arg(required = true)]
    pub(crate) files: Vec<PathBuf>,
}

#[derive(Args, Debug)]
pub(crate) struct FeedOptions {
    #[command(flatten)]
    pub(crate) server: ServerOption,
    /// One JSON object a case and line.
    #[arg(long)]
    pub(crate) json: bool,
    /// Closed cases too.
    #[arg(long)]
    pub(crate) all: bool,
    /// Stay and print every change.
    #[arg(long)]
    pub(crate) follow: bool,
    /// Only this depot. May be given several times.
    #[arg(long)]
    pub(crate) depot: Vec<String>,
    /// Only this unit. May be given several times.
    #[arg(long)]
    pub(crate) unit: Vec<String>,
    /// Only cases of at least this priority.
    #[arg(long, value_enum)]
    pub(crate) priority: Option<PriorityWord>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum PriorityWord {
    /// Plan it.
    Low,
    /// This shift, or the next visit to a workshop.
    Medium,
    /// Now.
    High,
}

#[derive(Args, Debug)]
pub(crate) struct WeeklyOptions {
    #[command(flatten)]
    pub(crate) server: ServerOption,
    /// One JSON object a unit and line.
    #[arg(long)]
    pub(crate) json: bool,
    /// End of the week: a date or a time (RFC 3339). Default: now.
    #[arg(long)]
    pub(crate) until: Option<String>,
    /// Only this depot.
    #[arg(long)]
    pub(crate) depot: Option<String>,
}

#[derive(Args, Debug)]
pub(crate) struct UnitOptions {
    #[command(flatten)]
    pub(crate) server: ServerOption,
    /// The unit.
    pub(crate) unit: String,
    /// One JSON object.
    #[arg(long)]
    pub(crate) json: bool,
    /// Print readings from this date or time (RFC 3339) on, as CSV.
    #[arg(long)]
    pub(crate) from: Option<String>,
    /// Print readings before this date or time. Default: now.
    #[arg(long, requires = "from")]
    pub(crate) until: Option<String>,
    /// Only this channel. May be given several times.
    #[arg(long, requires = "from")]
    pub(crate) channel: Vec<String>,
}

#[derive(Args, Debug)]
pub(crate) struct CaseOptions {
    #[command(flatten)]
    pub(crate) server: ServerOption,
    /// The case, as `rimeline unit` and `rimeline feed --json` name it.
    pub(crate) case: String,
    /// What was done. Without it, what people wrote is shown.
    #[arg(value_enum, requires = "by")]
    pub(crate) action: Option<ActionWord>,
    /// Who did it.
    #[arg(long)]
    pub(crate) by: Option<String>,
    /// Reason, note or finding.
    #[arg(long)]
    pub(crate) text: Option<String>,
    /// For a shelving: until when, a date or a time (RFC 3339).
    #[arg(long)]
    pub(crate) until: Option<String>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum ActionWord {
    /// Seen, and taken on.
    Acknowledge,
    /// Off the ranked list until a given time.
    Shelve,
    /// Back on the list.
    Unshelve,
    /// Something worth writing down.
    Note,
    /// Passed on.
    HandOver,
    /// What the workshop found.
    Finding,
    /// Repaired: the case closes, and what it was compared with is learned anew.
    Serviced,
}

pub(crate) fn completion(shell: Shell) {
    clap_complete::generate(shell, &mut Cli::command(), "rimeline", &mut std::io::stdout());
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_command_line_is_consistent() {
        Cli::command().debug_assert();
    }
}
