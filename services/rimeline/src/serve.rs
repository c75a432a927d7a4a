use anyhow::{Context, Result};
use tokio::signal::unix::{SignalKind, signal};

use crate::cli::ServeOptions;
use crate::config::Config;
use crate::server::Server;

pub(crate) async fn run(options: ServeOptions) -> Result<()> {
    let config = Config::load(&options)?;
    let server = Server::start(&config).await?;
    tracing::info!(address = %server.address, data = %config.data.display(), clock = ?config.clock, "ready");
    if let Some(file) = &options.address_file {
        std::fs::write(file, server.address.to_string())
            .with_context(|| format!("the address could not be written to {}", file.display()))?;
    }
    server.run_until(told_to_stop()).await
}

/// Until the process is interrupted or terminated.
pub(crate) async fn told_to_stop() {
    let Ok(mut terminated) = signal(SignalKind::terminate()) else {
        return std::future::pending().await;
    };
    tokio::select! {
        _ = terminated.recv() => {}
        _ = tokio::signal::ctrl_c() => {}
    }
}
