use serde::{Deserialize, Serialize};

/// Why a channel has no number.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[repr(u8)]
pub enum Absence {
    /// The unit has no such sensor. Not a fault.
    NotFitted = 1,
    /// Fitted, and its circuit is open.
    FailedOpen = 2,
    /// Fitted, and its circuit is shorted.
    FailedShort = 3,
    /// Fitted, and the source reports an error of another kind.
    FailedOther = 4,
    /// The source sent nothing.
    NotReported = 5,
}

impl Absence {
    /// Every kind, by number in the public contract.
    pub const ALL: [Absence; 5] =
        [Self::NotFitted, Self::FailedOpen, Self::FailedShort, Self::FailedOther, Self::NotReported];

    /// The kind with this number in the public contract.
    pub fn from_number(number: i32) -> Option<Self> {
        Self::ALL.into_iter().find(|a| *a as i32 == number)
    }

    /// The word used in files.
    pub fn name(self) -> &'static str {
        match self {
            Self::NotFitted => "not_fitted",
            Self::FailedOpen => "open",
            Self::FailedShort => "short",
            Self::FailedOther => "failed",
            Self::NotReported => "not_reported",
        }
    }

    /// The kind with this word.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|a| a.name() == name)
    }

    /// True where a fitted sensor failed at its source.
    pub fn is_failure(self) -> bool {
        matches!(self, Self::FailedOpen | Self::FailedShort | Self::FailedOther)
    }
}

/// What a channel says in one reading.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Value {
    /// A number in the channel's fixed-point scale.
    Number(i32),
    /// No number, and why.
    Absent(Absence),
}
