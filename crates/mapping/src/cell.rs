use std::{borrow::Cow, fmt};

/// One value of a row as its file holds it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Cell<'a> {
    Missing,
    Text(&'a str),
    Number(f64),
    Integer(i64),
    /// A moment, Unix milliseconds.
    Instant(i64),
    /// A local date and time, as if it were Unix milliseconds of UTC.
    Civil(i64),
    NotUtf8(&'a [u8]),
}

impl<'a> Cell<'a> {
    /// The value as text; `None` where there is none.
    pub(crate) fn text(self) -> Option<Cow<'a, str>> {
        Some(match self {
            Cell::Missing => return None,
            Cell::Text(text) => Cow::Borrowed(text),
            Cell::Number(number) => Cow::Owned(number.to_string()),
            Cell::Integer(number) | Cell::Instant(number) | Cell::Civil(number) => {
                Cow::Owned(number.to_string())
            }
            Cell::NotUtf8(bytes) => String::from_utf8_lossy(bytes),
        })
    }
}

/// Where in a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Place {
    /// The file as a whole.
    File,
    /// A line of a text file, from 1.
    Line(u64),
    /// A row of a Parquet file, from 1.
    Row(u64),
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Place::File => Ok(()),
            Place::Line(line) => write!(f, ":{line}"),
            Place::Row(row) => write!(f, " row {row}"),
        }
    }
}
