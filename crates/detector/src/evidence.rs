//! Putting together what a signal rests on.

use rimeline_channels::{Channel, DAY_MS, Measure};

use crate::regime::Masks;
use crate::{Evidence, Limit, Series};

/// A builder of [`Evidence`].
#[derive(Debug, Default)]
pub(crate) struct Because(Evidence);

impl Because {
    pub(crate) fn say(&mut self, sentence: String) {
        self.0.statements.push(sentence);
    }

    pub(crate) fn limit(&mut self, name: &str, value: f64) {
        self.0.limits.push(Limit { name: name.to_owned(), value });
    }

    /// A series of daily values; days count from 1970-01-01 and are drawn at their noon.
    pub(crate) fn daily(&mut self, name: &str, unit: &str, days: impl IntoIterator<Item = (u16, f64)>) {
        let (times, values) =
            days.into_iter().map(|(day, v)| (i64::from(day) * DAY_MS + DAY_MS / 2, v)).unzip();
        self.0.series.push(Series { name: name.to_owned(), unit_of_measure: unit.to_owned(), times, values });
    }

    pub(crate) fn masked(&mut self, masks: Masks) {
        self.0.masked.extend(masks.words().map(str::to_owned));
    }

    pub(crate) fn left_out(&mut self, what: String) {
        self.0.masked.push(what);
    }

    pub(crate) fn forecast(&mut self, days: Option<f64>, early: Option<f64>, late: Option<f64>) {
        self.0.days_to_limit = days;
        self.0.days_to_limit_early = early;
        self.0.days_to_limit_late = late;
    }

    pub(crate) fn done(self) -> Evidence {
        self.0
    }
}

pub(crate) fn is_temperature(channel: Channel) -> bool {
    channel.spec().measure == Measure::Celsius
}

/// The day of a time, counted from 1970-01-01; times before it or after 2149 count as the nearest day.
pub(crate) fn day_of(at: i64) -> u16 {
    at.div_euclid(DAY_MS).clamp(0, i64::from(u16::MAX)) as u16
}
