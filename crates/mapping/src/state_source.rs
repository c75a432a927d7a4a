//! The `[state]` section as it is written in TOML.

use std::{collections::BTreeMap, fmt};

use serde::{
    Deserialize, Deserializer,
    de::{Error, MapAccess, Visitor},
};

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(crate) struct StateSources {
    pub(crate) power: Option<StateSource>,
    pub(crate) drive: Option<StateSource>,
    pub(crate) running_mode: Option<StateSource>,
    pub(crate) stage: Option<StateSource>,
    pub(crate) door: Option<StateSource>,
    pub(crate) compressor: Option<StateSource>,
    pub(crate) defrost_origin: Option<StateSource>,
    pub(crate) defrost_end: Option<StateSource>,
    pub(crate) inputs: Option<BitsSource>,
    pub(crate) outputs: Option<BitsSource>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct BitsSource {
    pub(crate) column: String,
}

/// Where one part of the state comes from.
#[derive(Debug)]
pub(crate) enum StateSource {
    /// The same word in every row.
    Constant(String),
    /// A word for each text a column may hold.
    Column { column: String, values: BTreeMap<String, String>, otherwise: Option<String> },
    /// A condition for each word.
    Conditions(BTreeMap<String, String>),
}

impl<'de> Deserialize<'de> for StateSource {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        from.deserialize_any(StateVisitor)
    }
}

struct StateVisitor;

impl<'de> Visitor<'de> for StateVisitor {
    type Value = StateSource;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(
            "a word (\"on\"), a column with values ({ column = \"stg\", values = { \"0\" = \"satisfied\" } }) \
             or conditions ({ running = \"power > 500\" })",
        )
    }

    fn visit_str<E: Error>(self, word: &str) -> Result<StateSource, E> {
        Ok(StateSource::Constant(word.to_owned()))
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<StateSource, A::Error> {
        let (mut column, mut values, mut otherwise) = (None, None, None);
        let mut conditions = BTreeMap::new();
        while let Some(key) = map.next_key::<String>()? {
            match key.as_str() {
                "column" => column = Some(map.next_value::<String>()?),
                "values" => values = Some(map.next_value::<BTreeMap<String, String>>()?),
                "otherwise" => otherwise = Some(map.next_value::<String>()?),
                _ => {
                    conditions.insert(key, map.next_value::<String>()?);
                }
            }
        }
        match (column, values) {
            (Some(column), Some(values)) if conditions.is_empty() => {
                Ok(StateSource::Column { column, values, otherwise })
            }
            (None, None) if otherwise.is_none() && !conditions.is_empty() => {
                Ok(StateSource::Conditions(conditions))
            }
            (Some(_), None) => Err(A::Error::custom("`column` also needs `values`, a word for each text")),
            (None, Some(_)) => Err(A::Error::custom("`values` also needs `column`")),
            _ => Err(A::Error::custom(
                "either `column` with `values` (and perhaps `otherwise`), or a condition for each word; not both",
            )),
        }
    }
}
