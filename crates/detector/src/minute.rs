use rimeline_channels::{MINUTE_MS, UnixMs};
use serde::{Deserialize, Serialize};

/// A time to the minute, in half the space. Times before 1970 count as 1970.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub(crate) struct Minute(u32);

impl Minute {
    /// The minute that a time is in.
    pub(crate) fn of(at: UnixMs) -> Self {
        Self(at.div_euclid(MINUTE_MS).clamp(0, i64::from(u32::MAX)) as u32)
    }

    /// Its begin.
    pub(crate) fn ms(self) -> UnixMs {
        i64::from(self.0) * MINUTE_MS
    }
}
