use crate::ArchiveError;

/// How an archive is kept.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Options {
    /// Shares of the units, each with files of its own. 1 to 4,096, default 8; fixed when the archive is made. About
    /// one for each thousand units keeps a merged day of a bucket in one file.
    pub buckets: u16,
    /// Buffered rows at which [`Archive::is_full`](crate::Archive::is_full) asks for a flush. At least 1, default
    /// 500,000. A row takes about 200 bytes, and the room of the rows flushed last is kept for the next.
    pub flush_rows: usize,
    /// Buffered rows beyond which batches are refused. At least `flush_rows`, default 2,000,000.
    pub max_rows: usize,
    /// Files of one level in a partition at which they are merged. At least 2, default 8.
    pub merge_files: usize,
    /// Most rows that one merge holds in memory, and so the most that a merged file holds. At least 1, default
    /// 2,000,000.
    pub merge_rows: u64,
}

impl Default for Options {
    fn default() -> Self {
        Self { buckets: 8, flush_rows: 500_000, max_rows: 2_000_000, merge_files: 8, merge_rows: 2_000_000 }
    }
}

impl Options {
    /// Refuses what lies outside the ranges above.
    pub fn check(&self) -> Result<(), ArchiveError> {
        let in_range = |option, given, good, allowed| {
            if good { Ok(()) } else { Err(ArchiveError::Option { option, given, allowed }) }
        };
        in_range("buckets", u64::from(self.buckets), (1..=4_096).contains(&self.buckets), "1 to 4096")?;
        in_range("flush_rows", self.flush_rows as u64, self.flush_rows >= 1, "at least 1")?;
        in_range("max_rows", self.max_rows as u64, self.max_rows >= self.flush_rows, "at least flush_rows")?;
        in_range("merge_files", self.merge_files as u64, self.merge_files >= 2, "at least 2")?;
        in_range("merge_rows", self.merge_rows, self.merge_rows >= 1, "at least 1")
    }
}
