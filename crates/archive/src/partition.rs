use std::fmt;

use jiff::civil::Date;
use rimeline_channels::{DAY_MS, Id, UnixMs};
use serde::{Deserialize, Serialize};

/// What a file holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Dataset {
    /// One row per unit and time.
    Readings,
    /// What happened between readings.
    Events,
}

impl Dataset {
    /// Both.
    pub const ALL: [Self; 2] = [Self::Readings, Self::Events];

    /// The directory.
    pub fn name(self) -> &'static str {
        match self {
            Self::Readings => "readings",
            Self::Events => "events",
        }
    }
}

/// A UTC day, counted from 1970-01-01.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Day(pub i32);

impl Day {
    /// First moment that a partition can be named for: 0001-01-01T00:00:00Z.
    ///
    /// The first and the last are those of the four-digit calendar, outside of which readers of Parquet disagree.
    pub const FIRST_MS: UnixMs = -719_162 * DAY_MS;
    /// Moment after the last one: 10000-01-01T00:00:00Z.
    pub const END_MS: UnixMs = 2_932_897 * DAY_MS;

    /// The day of a moment, which must lie in `FIRST_MS..END_MS` for the day to have a name.
    pub fn of(time: UnixMs) -> Self {
        Self(time.div_euclid(DAY_MS) as i32)
    }

    /// The day of a calendar date.
    pub fn from_date(date: Date) -> Self {
        Self(date.since(EPOCH).map_or(0, |span| span.get_days()))
    }

    /// Its first moment.
    pub fn start_ms(self) -> UnixMs {
        i64::from(self.0) * DAY_MS
    }

    /// The moment after its last.
    pub fn end_ms(self) -> UnixMs {
        self.start_ms() + DAY_MS
    }

    /// The calendar date; the nearest one where the day lies outside the calendar.
    pub fn date(self) -> Date {
        EPOCH.saturating_add(jiff::Span::new().days(self.0.clamp(-3_000_000, 2_932_896)))
    }
}

const EPOCH: Date = Date::constant(1970, 1, 1);

impl fmt::Display for Day {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.date().fmt(f)
    }
}

/// Where rows belong: what they are, the day they were measured, and a share of the units.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct Partition {
    /// Readings or events.
    pub dataset: Dataset,
    /// UTC day of the reading.
    pub day: Day,
    /// Share of the units, see [`bucket_of`].
    pub bucket: u16,
}

impl Partition {
    /// The key of the file that holds the rows of journal positions `first..=last`.
    pub fn key(&self, first: u64, last: u64) -> String {
        // Zero-padded, so that a listing by name is a listing by age.
        format!("{self}/{first:012}-{last:012}.parquet")
    }
}

impl fmt::Display for Partition {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/day={}/bucket={:02}", self.dataset.name(), self.day, self.bucket)
    }
}

/// The bucket of a unit: CRC-32C (Castagnoli) of its id, modulo the number of buckets.
pub fn bucket_of(unit: &Id, buckets: u16) -> u16 {
    (crc32c::crc32c(unit.as_str().as_bytes()) % u32::from(buckets.max(1))) as u16
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn days_are_named_by_the_calendar_at_both_of_its_ends() {
        let name = |ms| Day::of(ms).to_string();
        assert_eq!(name(0), "1970-01-01");
        assert_eq!(name(-1), "1969-12-31");
        assert_eq!(name(951_782_400_000), "2000-02-29");
        assert_eq!(name(Day::FIRST_MS), "0001-01-01");
        assert_eq!(name(Day::END_MS - 1), "9999-12-31");
        assert_eq!(Day::from_date(Day(20_000).date()), Day(20_000));
    }

    #[test]
    fn a_key_is_a_function_of_partition_and_positions() {
        let partition = Partition { dataset: Dataset::Readings, day: Day(20_484), bucket: 3 };
        assert_eq!(
            partition.key(7, 120),
            "readings/day=2026-01-31/bucket=03/000000000007-000000000120.parquet"
        );
    }

    /// Check value of CRC-32C: "123456789" gives 0xE3069283 (RFC 3720, appendix B.4 uses the same polynomial).
    #[test]
    fn buckets_are_a_public_checksum_that_spreads_like_named_units_evenly() {
        assert_eq!(bucket_of(&Id::new("123456789").unwrap(), 1000), (0xE306_9283_u32 % 1000) as u16);
        let mut count = [0; 8];
        for i in 0..8_000 {
            count[usize::from(bucket_of(&Id::new(&format!("TR-{i:05}")).unwrap(), 8))] += 1;
        }
        assert!(count.iter().all(|n| (800..1200).contains(n)), "{count:?}");
    }
}
