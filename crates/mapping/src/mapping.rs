use std::path::Path;

use rimeline_channels::{Channel, Id, State, Value};

use crate::{
    Import, Load, MappingError, Source, UnitDescription,
    channel::{ChannelRule, Tokens},
    compile,
    document::{BatchRule, CsvLayout, Replace},
    state::StateRule,
    time::TimeRule,
};

/// How files of one layout become readings. Made from TOML once, used for any number of files.
#[derive(Clone, Debug)]
pub struct Mapping {
    pub(crate) title: String,
    /// Names of the columns that any rule uses, each once; rules hold indices into this.
    pub(crate) columns: Vec<String>,
    pub(crate) unit: UnitRule,
    pub(crate) time: TimeRule,
    pub(crate) time_columns: Vec<usize>,
    pub(crate) csv: CsvLayout,
    pub(crate) batches: BatchRule,
    /// Tokens for columns that conditions use.
    pub(crate) absent: Tokens,
    pub(crate) channels: Vec<ChannelRule>,
    pub(crate) constants: Vec<(Channel, Value)>,
    pub(crate) state: State,
    pub(crate) states: Vec<StateRule>,
    pub(crate) description: Option<UnitDescription>,
    pub(crate) descriptions: Vec<(Id, UnitDescription)>,
    pub(crate) load: Option<Load>,
    pub(crate) loads: Vec<(Id, Load)>,
}

/// Where a row's unit id comes from.
#[derive(Clone, Debug)]
pub(crate) struct UnitRule {
    pub(crate) from: UnitFrom,
    pub(crate) prefix: String,
    pub(crate) replace: Vec<Replace>,
}

#[derive(Clone, Debug)]
pub(crate) enum UnitFrom {
    Fixed(Id),
    Column(usize),
    FileName,
}

impl UnitRule {
    /// The unit id that a text of the file stands for. No text is no id, whatever the prefix.
    pub(crate) fn id(&self, text: &str) -> Result<Id, rimeline_channels::BadId> {
        let mut id = text.trim().to_owned();
        if id.is_empty() {
            return Id::new("");
        }
        for Replace { from, to } in &self.replace {
            id = id.replace(from.as_str(), to);
        }
        Id::new(&format!("{}{id}", self.prefix))
    }
}

impl Mapping {
    /// The most rows a batch may be asked to have.
    pub const MAX_BATCH_ROWS: usize = 100_000;

    /// Reads a mapping from TOML text; `name` stands for it in errors.
    pub fn parse(name: &str, text: &str) -> Result<Self, MappingError> {
        compile::compile(name, text)
    }

    /// Reads a mapping from a TOML file.
    pub fn read(path: &Path) -> Result<Self, MappingError> {
        let name = path.display().to_string();
        match std::fs::read_to_string(path) {
            Ok(text) => Self::parse(&name, &text),
            Err(error) => Err(MappingError::Unreadable { name, error }),
        }
    }

    /// The mapping's own words about itself; empty where it has none.
    pub fn title(&self) -> &str {
        &self.title
    }

    /// The same mapping with another number of rows per batch, at least 1 and at most
    /// [`Mapping::MAX_BATCH_ROWS`].
    #[must_use]
    pub fn with_batch_rows(mut self, rows: usize) -> Self {
        self.batches.rows = rows.clamp(1, Self::MAX_BATCH_ROWS);
        self
    }

    /// The channels that the mapping fills, in catalogue order.
    pub fn channels(&self) -> Vec<Channel> {
        let constant = self.constants.iter().map(|(channel, _)| *channel);
        let mut all: Vec<_> = self.channels.iter().map(|rule| rule.channel).chain(constant).collect();
        all.sort_unstable();
        all
    }

    /// What the registry should know of a unit; `None` where the mapping says nothing. The fitted channels are the
    /// mapped ones where the mapping does not list them.
    pub fn description_of(&self, unit: &Id) -> Option<UnitDescription> {
        let own = self.descriptions.iter().find(|(id, _)| id == unit).map(|(_, own)| own);
        let general = self.description.as_ref();
        let mut described = match (own, general) {
            (Some(own), Some(general)) => own.over(general),
            (Some(one), None) | (None, Some(one)) => one.clone(),
            (None, None) => return None,
        };
        described.fitted.get_or_insert_with(|| self.channels().iter().map(|c| c.name().to_owned()).collect());
        Some(described)
    }

    /// The load of a unit; `None` where the mapping says nothing.
    pub fn load_of(&self, unit: &Id) -> Option<Load> {
        let own = self.loads.iter().find(|(id, _)| id == unit).map(|(_, own)| own);
        match (own, self.load.as_ref()) {
            (Some(own), Some(general)) => Some(own.over(general)),
            (Some(one), None) | (None, Some(one)) => Some(one.clone()),
            (None, None) => None,
        }
    }

    /// Starts to read files. Nothing is opened before the first batch is asked for.
    pub fn import(&self, sources: Vec<Source>) -> Import<'_> {
        Import::new(self, sources)
    }
}
