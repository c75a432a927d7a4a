//! The rimeline program: command line, configuration, and the wiring of roles. What it knows lives in its crates.

mod care;
mod case;
mod cli;
mod client;
mod config;
mod demo;
mod feed;
mod fleet;
mod push;
mod registry;
mod serve;
mod server;
mod show;
mod unit;
mod weekly;

use std::process::ExitCode;

use clap::Parser;
use tracing_subscriber::EnvFilter;

use crate::cli::{Cli, Command};

#[tokio::main]
async fn main() -> ExitCode {
    let cli = Cli::parse();
    let level = if matches!(cli.command, Command::Serve(_)) { "info" } else { "warn" };
    let filter = EnvFilter::try_from_env("RIMELINE_LOG").unwrap_or_else(|_| EnvFilter::new(level));
    tracing_subscriber::fmt().with_env_filter(filter).with_writer(std::io::stderr).init();
    let done = match cli.command {
        Command::Serve(options) => serve::run(options).await,
        Command::Demo(options) => demo::run(options).await,
        Command::Push(options) => push::run(options).await,
        Command::Feed(options) => feed::run(options).await,
        Command::Weekly(options) => weekly::run(options).await,
        Command::Unit(options) => unit::run(options).await,
        Command::Case(options) => case::run(options).await,
        Command::Channels => show::channels(),
        Command::Verify { data } => care::verify(&data),
        Command::Repair { data } => care::repair(&data),
        Command::Completion { shell } => {
            cli::completion(shell);
            Ok(())
        }
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            tracing::debug!(?error, "failed");
            show::problem(&error);
            ExitCode::FAILURE
        }
    }
}
