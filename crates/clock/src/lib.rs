//! The clock as an argument.
//!
//! A service that watches live units runs on wall time. A service that is shown a recording runs on the recording's
//! own time: the clock stands at the newest reading that has arrived, so months pushed in minutes are lived through
//! as if they happened now. Time never runs backwards on either clock.

use std::sync::atomic::{AtomicI64, Ordering};
use std::time::{SystemTime, UNIX_EPOCH};

/// Where "now" comes from.
pub trait Clock: Send + Sync + 'static {
    /// Milliseconds since 1970-01-01T00:00:00Z.
    fn now_ms(&self) -> i64;

    /// Tells the clock the newest time in data that has just arrived, and returns "now".
    fn observe(&self, data_ms: i64) -> i64;

    /// Wall time on either kind of clock: no honest reading is newer than this.
    fn ceiling_ms(&self) -> i64 {
        wall_ms()
    }

    /// True where time stands still between arrivals.
    fn follows_data(&self) -> bool;
}

// The one place that reads the machine's clock.
#[allow(clippy::disallowed_methods)]
fn wall_ms() -> i64 {
    SystemTime::now().duration_since(UNIX_EPOCH).map_or(0, |d| d.as_millis() as i64)
}

/// Wall time, held so that it never steps back.
#[derive(Debug, Default)]
pub struct WallClock {
    latest: AtomicI64,
}

impl Clock for WallClock {
    fn now_ms(&self) -> i64 {
        let wall = wall_ms();
        self.latest.fetch_max(wall, Ordering::Relaxed).max(wall)
    }

    fn observe(&self, _data_ms: i64) -> i64 {
        self.now_ms()
    }

    fn follows_data(&self) -> bool {
        false
    }
}

/// Time that follows the data.
#[derive(Debug, Default)]
pub struct DataClock {
    latest: AtomicI64,
}

impl DataClock {
    /// A clock that stands at `start_ms` until newer data arrives; 0 where nothing has arrived yet.
    pub fn starting_at(start_ms: i64) -> Self {
        Self { latest: AtomicI64::new(start_ms) }
    }
}

impl Clock for DataClock {
    fn now_ms(&self) -> i64 {
        self.latest.load(Ordering::Relaxed)
    }

    fn observe(&self, data_ms: i64) -> i64 {
        self.latest.fetch_max(data_ms, Ordering::Relaxed).max(data_ms)
    }

    fn follows_data(&self) -> bool {
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_data_clock_follows_the_newest_reading_and_never_steps_back() {
        let clock = DataClock::default();
        assert_eq!(clock.now_ms(), 0);
        assert_eq!(clock.observe(5_000), 5_000);
        assert_eq!(clock.observe(1_000), 5_000);
        assert_eq!(clock.now_ms(), 5_000);
    }

    #[test]
    fn a_wall_clock_is_not_moved_by_data() {
        let clock = WallClock::default();
        let before = clock.now_ms();
        assert!(clock.observe(before + 1_000_000_000) < before + 1_000_000);
    }
}
