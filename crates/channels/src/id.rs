use serde::{Deserialize, Serialize};

/// The name of a unit, gateway or load: 1 to 64 characters of `A-Z a-z 0-9 . _ -`.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Id(Box<str>);

/// Text that is no id.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{shown}` is no id: 1 to 64 characters of A-Z a-z 0-9 . _ - are")]
pub struct BadId {
    shown: String,
}

impl Id {
    /// The longest id, in characters.
    pub const MAX_LEN: usize = 64;

    /// Checks and keeps a text as an id.
    pub fn new(text: &str) -> Result<Self, BadId> {
        let good = (1..=Self::MAX_LEN).contains(&text.len())
            && text.bytes().all(|b| b.is_ascii_alphanumeric() || matches!(b, b'.' | b'_' | b'-'));
        if good {
            Ok(Self(text.into()))
        } else {
            Err(BadId {
                shown: text.chars().take(Self::MAX_LEN + 1).collect::<String>().escape_debug().to_string(),
            })
        }
    }

    /// The text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl TryFrom<String> for Id {
    type Error = BadId;
    fn try_from(text: String) -> Result<Self, BadId> {
        Self::new(&text)
    }
}

impl From<Id> for String {
    fn from(id: Id) -> String {
        id.0.into()
    }
}

impl std::borrow::Borrow<str> for Id {
    fn borrow(&self) -> &str {
        &self.0
    }
}

impl std::fmt::Display for Id {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ids_are_short_and_plain() {
        assert!(Id::new("TR-0042.b_1").is_ok());
        assert!(Id::new(&"x".repeat(64)).is_ok());
        for bad in ["", " ", "a b", "a/b", "é", "a\0", &"x".repeat(65)] {
            assert!(Id::new(bad).is_err(), "{bad:?}");
        }
    }
}
