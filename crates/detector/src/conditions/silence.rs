//! A unit that reported live stopped reporting.
//!
//! History that is pushed later is never silent: only a unit that was seen to be up to date can fall silent.

use rimeline_channels::{DAY_MS, HOUR_MS, MINUTE_MS, Power, UnixMs};
use serde::{Deserialize, Serialize};

use crate::config::Config;
use crate::evidence::{Because, day_of};
use crate::say;
use crate::stand::{Stand, Subject, Words};
use crate::{Condition, Output, Standing};

/// Long gaps kept, to know the unit's habit.
const GAPS: usize = 6;
/// A gap is forgotten after this many days.
const REMEMBERED: u16 = 60;
/// A single long gap makes no longer habit than this, h.
const SINGLE_H: i64 = 6;
/// A habit is taken to reach this much beyond what was seen.
const BEYOND: f64 = 1.5;

/// State kept per unit.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Silence {
    /// The unit was seen to be up to date.
    live: bool,
    /// Longest wait seen since the newest reading, ms, and when it was seen.
    waited: i64,
    seen_at: UnixMs,
    /// Long waits that ended by a reading: minutes and day.
    gaps: Vec<(u16, u16)>,
    stand: Stand,
}

impl Silence {
    /// A reading came.
    pub(crate) fn observe(&mut self, at: UnixMs, config: &Config, out: &mut Output) {
        let waited = std::mem::take(&mut self.waited);
        if waited >= least_ms(config) {
            if self.gaps.len() >= GAPS {
                self.gaps.remove(0);
            }
            let minutes = (waited / MINUTE_MS).min(i64::from(u16::MAX)) as u16;
            self.gaps.push((minutes, day_of(at)));
        }
        if self.stand.stands() {
            // The reading was measured before its absence was noticed.
            let subject = Subject { condition: Condition::Silent, channel: None, at: at.max(self.seen_at) };
            self.stand.fall(subject, out, || "The unit reports again".to_owned());
        }
    }

    /// Longest wait that is this unit's habit, ms. One long wait may have been a fault of its own, so alone it counts
    /// for [`SINGLE_H`] at most.
    fn habit_ms(&self, now: UnixMs, config: &Config) -> i64 {
        let today = day_of(now);
        let mut recent: Vec<i64> = self
            .gaps
            .iter()
            .filter(|(_, day)| today.saturating_sub(*day) <= REMEMBERED)
            .map(|g| i64::from(g.0) * MINUTE_MS)
            .collect();
        recent.sort_unstable_by(|a, b| b.cmp(a));
        let single = recent.first().map_or(0, |&longest| longest.min(SINGLE_H * HOUR_MS));
        let usual = recent.get(1).map_or(0, |&second| second).max(single);
        let longest = (config.silence.habit_longest_h * HOUR_MS as f64) as i64;
        ((usual as f64 * BEYOND) as i64).min(longest)
    }

    /// Time passes. `last` is the time of the newest reading.
    pub(crate) fn tick(
        &mut self,
        now: UnixMs,
        last: UnixMs,
        cadence_s: f64,
        power: Power,
        config: &Config,
        out: &mut Output,
    ) {
        let c = &config.silence;
        let expected = (cadence_s * 1000.0 * c.cadences) as i64;
        let first_signs = expected.max(least_ms(config));
        let gap = now - last;
        if gap <= first_signs {
            self.live = true;
            return;
        }
        if !self.live {
            return;
        }
        (self.waited, self.seen_at) = (gap.max(self.waited), now);
        let habit = self.habit_ms(now, config);
        if gap <= first_signs.max(habit) {
            return;
        }
        let enough = (c.open_min * MINUTE_MS as f64) as i64;
        let to = if gap > enough { Standing::Open } else { Standing::Pending };
        let subject = Subject { condition: Condition::Silent, channel: None, at: now };
        let limit = first_signs.max(habit);
        self.stand.rise(subject, to, last, 1.0, out, || words(gap, cadence_s, limit, habit, power));
    }

    pub(crate) fn flagged(&self) -> bool {
        self.stand.flagged()
    }

    pub(crate) fn live(&self) -> bool {
        self.live
    }

    /// A person dealt with it: the unit may stay silent until it reports again.
    pub(crate) fn serviced(&mut self) {
        self.stand = Stand::default();
        self.live = false;
    }
}

fn least_ms(config: &Config) -> i64 {
    (config.silence.least_min * MINUTE_MS as f64) as i64
}

fn words(gap: i64, cadence_s: f64, limit: i64, habit: i64, power: Power) -> Words {
    let mut because = Because::default();
    because.say(format!(
        "No reading for {}; this unit reports every {}.",
        say::duration(gap),
        say::duration((cadence_s * 1000.0) as i64)
    ));
    if habit > 0 {
        because.say(format!("Its own gaps hardly ever exceed {}.", say::duration(habit)));
    }
    because.say(match power {
        Power::Off => "It was switched off when it reported last.".to_owned(),
        Power::On => "It was switched on when it reported last.".to_owned(),
        Power::Unknown => "Whether it was switched on is not known.".to_owned(),
    });
    because.limit("silent from, h", limit as f64 / HOUR_MS as f64);
    let confidence = if gap >= DAY_MS { 0.9 } else { 0.8 };
    Words {
        headline: format!("Silent for {}", say::duration(gap)),
        confidence,
        hours_to_harm: None,
        evidence: because.done(),
    }
}
