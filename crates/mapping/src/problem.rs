use std::fmt;

use crate::Place;

macro_rules! kinds {
    ($($variant:ident $effect:ident $words:literal $doc:literal;)*) => {
        /// What was wrong.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum ProblemKind { $(#[doc = $doc] $variant,)* }

        impl ProblemKind {
            /// Every kind.
            pub const ALL: &'static [Self] = &[$(Self::$variant,)*];

            /// What it costs.
            pub fn effect(self) -> Effect {
                match self { $(Self::$variant => Effect::$effect,)* }
            }

            /// A few words for it.
            pub fn words(self) -> &'static str {
                match self { $(Self::$variant => $words,)* }
            }
        }
    };
}

kinds! {
    Unreadable FileLeft "the file cannot be read on" "The file, or the rest of it, cannot be read.";
    EmptyFile FileLeft "the file has no rows" "Nothing in the file, or only a header.";
    MissingColumn FileLeft "a column of the mapping is not in the file" "A column of the mapping is not in the file.";
    RepeatedColumn FileLeft "a column name stands twice in the header" "A mapped column's name stands twice.";
    UnsupportedType FileLeft "a column is of a kind that cannot be used as it is" "A column of another type than its role needs.";
    RaggedLine RowLeft "a line has another number of cells than the header" "More or fewer cells than the header.";
    BadTime RowLeft "a time cannot be read" "A time that does not fit the format.";
    BadUnit RowLeft "a unit id cannot be used" "A unit id that is missing or no id.";
    NotUtf8 ValueLeft "a value is not UTF-8" "Bytes that are no UTF-8.";
    BadNumber ValueLeft "a value is no number" "A text where a number is needed.";
    NotFinite ValueLeft "a value is not finite" "NaN or infinity.";
    OutOfRange ValueLeft "a value is too large to store" "A number the channel's fixed-point scale cannot hold.";
    UnknownWord ValueLeft "a state value is not in the mapping" "A text that `values` does not list.";
    AmbiguousTime Kept "a local time happened twice" "A local time when clocks were set back.";
    SkippedTime Kept "a local time never happened" "A local time when clocks were set forward.";
    SortedInParts Kept "too many rows to sort at once" "More rows than `sort_rows`.";
}

/// What a problem costs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Effect {
    /// The rest of the file was left out; other files were read.
    FileLeft,
    /// The row was left out.
    RowLeft,
    /// The value is not reported; its row was kept.
    ValueLeft,
    /// Nothing was left out.
    Kept,
}

impl Effect {
    fn words(self) -> &'static str {
        match self {
            Effect::FileLeft => "left out from here on",
            Effect::RowLeft => "row left out",
            Effect::ValueLeft => "value not reported",
            Effect::Kept => "row kept",
        }
    }
}

/// Something in a file that did not go in as it stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// What was wrong.
    pub kind: ProblemKind,
    /// The file's name as it was given.
    pub file: String,
    /// Where in the file.
    pub place: Place,
    /// The column's name, where it is about one.
    pub column: Option<String>,
    /// What was found, shortened.
    pub found: String,
    /// What to do.
    pub advice: String,
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}{}: ", self.file, self.place)?;
        if let Some(column) = &self.column {
            write!(f, "column `{column}`: ")?;
        }
        write!(f, "{}: {} ({}). {}", self.kind.words(), self.found, self.kind.effect().words(), self.advice)
    }
}

/// The problems of an import: all are counted, the first are kept.
#[derive(Clone, Debug)]
pub struct Problems {
    kept: Vec<Problem>,
    counts: Vec<u64>,
    keep: usize,
}

impl Default for Problems {
    fn default() -> Self {
        Self::keeping(20)
    }
}

impl Problems {
    /// No problems yet; the first `keep` and the first of each kind will be kept.
    pub fn keeping(keep: usize) -> Self {
        Self { kept: Vec::new(), counts: vec![0; ProblemKind::ALL.len()], keep }
    }

    /// Counts a problem, and builds it only where it will be kept.
    pub(crate) fn add(&mut self, kind: ProblemKind, problem: impl FnOnce() -> Problem) {
        let count = &mut self.counts[kind as usize];
        *count += 1;
        if *count == 1 || self.kept.len() < self.keep {
            self.kept.push(problem());
        }
    }

    /// The problems that were kept, in order.
    pub fn kept(&self) -> &[Problem] {
        &self.kept
    }

    /// How many there were of a kind.
    pub fn count(&self, kind: ProblemKind) -> u64 {
        self.counts[kind as usize]
    }

    /// How many there were.
    pub fn total(&self) -> u64 {
        self.counts.iter().sum()
    }

    /// The kinds there were, with their numbers.
    pub fn by_kind(&self) -> impl Iterator<Item = (ProblemKind, u64)> {
        ProblemKind::ALL.iter().map(|kind| (*kind, self.count(*kind))).filter(|(_, count)| *count > 0)
    }
}

impl fmt::Display for Problems {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for problem in &self.kept {
            writeln!(f, "{problem}")?;
        }
        let more = self.total() - self.kept.len() as u64;
        if more > 0 {
            writeln!(f, "and {more} more; in all:")?;
            for (kind, count) in self.by_kind() {
                writeln!(f, "{count:>9}  {} ({})", kind.words(), kind.effect().words())?;
            }
        }
        Ok(())
    }
}

/// A found text as it is shown: in back quotes, control characters escaped, at most 60 characters.
pub(crate) fn shown(text: &str) -> String {
    const MOST: usize = 60;
    let short: String = text.chars().take(MOST).collect();
    let more = if short.len() < text.len() { "..." } else { "" };
    format!("`{}{more}`", short.escape_debug())
}
