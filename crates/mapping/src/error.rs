use std::fmt;

/// A mapping that cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum MappingError {
    /// The file could not be read.
    #[error("{name}: the mapping cannot be read: {error}")]
    Unreadable {
        /// The mapping's name.
        name: String,
        /// Why.
        error: std::io::Error,
    },
    /// The text is no TOML, or a key or value is not one of a mapping; the message shows the line.
    #[error("{name}: {message}")]
    Toml {
        /// The mapping's name.
        name: String,
        /// Line, column, the line itself and what is wrong.
        message: String,
    },
    /// Parts that do not fit together; all of them.
    #[error("{name}: {} in the mapping:{}", count(.faults.len()), list(.faults))]
    Faults {
        /// The mapping's name.
        name: String,
        /// What is wrong and what to do.
        faults: Vec<Fault>,
    },
}

/// One thing to change in a mapping.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// The section.
    pub place: String,
    /// What is wrong and what to do.
    pub message: String,
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.place, self.message)
    }
}

fn count(faults: usize) -> String {
    if faults == 1 { "1 fault".to_owned() } else { format!("{faults} faults") }
}

fn list(faults: &[Fault]) -> String {
    faults.iter().fold(String::new(), |text, fault| text + "\n  " + &fault.to_string())
}
