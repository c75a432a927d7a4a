use bytes::Bytes;

/// A place in the journal: between two records, before the first or after the last.
///
/// Positions only grow along the journal, but not by one a record: treat them as opaque, keep the `next` of the last
/// entry that was dealt with, and come back with it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Position(u64);

impl Position {
    /// Before the very first record.
    pub const START: Self = Self(0);

    /// A position that was kept as a number, see [`Position::get`].
    pub const fn new(number: u64) -> Self {
        Self(number)
    }

    /// The number to keep.
    pub const fn get(self) -> u64 {
        self.0
    }
}

impl std::fmt::Display for Position {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        self.0.fmt(f)
    }
}

/// A record read back.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Entry {
    /// Where the record begins.
    pub position: Position,
    /// Where to read on. Persist this once the record is dealt with.
    pub next: Position,
    /// What was appended. Entries of one read share memory: copy a small record that is kept for long.
    pub record: Bytes,
}
