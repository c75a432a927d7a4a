use std::net::SocketAddr;
use std::path::{Path, PathBuf};

use anyhow::{Context, Result, bail};
use figment::Figment;
use figment::providers::{Env, Format, Serialized, Toml};
use rimeline_archivist::ArchivistConfig;
use rimeline_assess::AssessConfig;
use rimeline_desk::DeskConfig;
use rimeline_ingest::IngestConfig;
use serde::{Deserialize, Serialize};

use crate::cli::{ClockKind, DEFAULT_LISTEN, ServeOptions};

/// Everything that can be configured, with the defaults that hold for a fleet of up to a few thousand units.
#[derive(Clone, Debug, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub(crate) struct Config {
    /// Folder for journal, archive and casebook. Default `rimeline-data`.
    pub(crate) data: PathBuf,
    /// Address to listen on. Default `127.0.0.1:7420`.
    pub(crate) listen: SocketAddr,
    /// `wall` or `data`. Default `wall`.
    pub(crate) clock: ClockWord,
    /// The archive's layout.
    pub(crate) archive: ArchiveConfig,
    /// The ingest role.
    pub(crate) ingest: IngestConfig,
    /// The archive role.
    pub(crate) archivist: ArchivistConfig,
    /// The assessing role and its detectors.
    pub(crate) assess: AssessConfig,
    /// The desk role.
    pub(crate) desk: DeskConfig,
}

/// What the service's clock follows.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(crate) enum ClockWord {
    #[default]
    Wall,
    Data,
}

/// How the archive is laid out.
#[derive(Clone, Debug, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub(crate) struct ArchiveConfig {
    /// Shares of the units, each with files of its own; fixed when the archive is made. 1 to 4,096. Default 4.
    pub(crate) buckets: u16,
    /// Rows in memory at which files are written. At least 1. Default 500,000.
    pub(crate) flush_rows: usize,
}

impl Default for ArchiveConfig {
    fn default() -> Self {
        Self { buckets: 4, flush_rows: 500_000 }
    }
}

impl Default for Config {
    fn default() -> Self {
        Self {
            data: PathBuf::from("rimeline-data"),
            // The constant is an address; a test holds it to that.
            listen: DEFAULT_LISTEN.parse().unwrap_or_else(|_| SocketAddr::from(([127, 0, 0, 1], 7420))),
            clock: ClockWord::Wall,
            archive: ArchiveConfig::default(),
            ingest: IngestConfig::default(),
            archivist: ArchivistConfig::default(),
            assess: AssessConfig::default(),
            desk: DeskConfig::default(),
        }
    }
}

impl Config {
    /// Defaults, then the file, then the environment, then the command line; checked before anything is opened.
    pub(crate) fn load(options: &ServeOptions) -> Result<Self> {
        let mut config = Self::read(options.config.as_deref())?;
        if let Some(data) = &options.data {
            config.data.clone_from(data);
        }
        if let Some(listen) = options.listen {
            config.listen = listen;
        }
        match options.clock {
            Some(ClockKind::Wall) => config.clock = ClockWord::Wall,
            Some(ClockKind::Data) => config.clock = ClockWord::Data,
            None => {}
        }
        config.check()?;
        Ok(config)
    }

    fn read(file: Option<&Path>) -> Result<Self> {
        let mut figment = Figment::from(Serialized::defaults(Self::default()));
        if let Some(file) = file {
            if !file.is_file() {
                bail!("there is no configuration file {}", file.display());
            }
            figment = figment.merge(Toml::file(file));
        }
        // Other variables of that prefix are not for the service.
        let ours = |key: &str| key.contains("__") || ["DATA", "LISTEN", "CLOCK"].contains(&key);
        let env = Env::prefixed("RIMELINE_").filter(move |key| ours(key.as_str())).split("__");
        figment.merge(env).extract().context("the configuration cannot be used")
    }

    /// Names the first field that cannot work.
    pub(crate) fn check(&self) -> Result<()> {
        let checks = [self.ingest.check(), self.archivist.check(), self.assess.check(), self.desk.check()];
        for check in checks {
            check.map_err(anyhow::Error::msg).context("the configuration cannot be used")?;
        }
        Ok(())
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn defaults_can_be_used_and_listen_where_the_client_looks() {
        let config = Config::default();
        config.check().unwrap();
        assert_eq!(config.listen, DEFAULT_LISTEN.parse().unwrap());
    }

    #[test]
    fn a_misspelt_key_is_named_before_anything_is_opened() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("rimeline.toml");
        std::fs::write(&file, "[ingest]\nmax_row_per_batch = 10\n").unwrap();
        let error = format!("{:#}", Config::read(Some(&file)).unwrap_err());
        assert!(error.contains("max_row_per_batch"), "{error}");
    }

    #[test]
    fn a_value_that_cannot_work_is_named_with_its_least() {
        let mut config = Config::default();
        config.ingest.window = 0;
        let error = format!("{:#}", config.check().unwrap_err());
        assert!(error.contains("ingest.window is 0; at least 1"), "{error}");
    }
}
