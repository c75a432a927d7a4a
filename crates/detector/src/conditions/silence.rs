//! A unit that reported live stopped reporting.
//!
//! History that is pushed later is never silent: only a unit that was seen to be up to date can fall silent.

use rimeline_channels::{DAY_MS, HOUR_MS, MINUTE_MS, Power, UnixMs};
use serde::{Deserialize, Serialize};

use crate::config::Config;
use crate::evidence::Because;
use crate::say;
use crate::stand::{Stand, Subject, Words};
use crate::{Condition, Output, Standing};

/// Buckets of gap lengths: up to 1, 2, 4, ... min.
const BUCKETS: usize = 14;

/// State kept per unit.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Silence {
    /// The unit was seen to be up to date.
    live: bool,
    /// Gaps between readings while switched on, and while not.
    gaps: [[u16; BUCKETS]; 2],
    stand: Stand,
}

/// Which gaps count: those while the unit is switched on, or not.
fn row(power: Power) -> usize {
    usize::from(power == Power::Off)
}

impl Silence {
    /// A reading came, `gap_ms` after the one before, which was taken with the power in that state.
    pub(crate) fn observe(&mut self, at: UnixMs, gap_ms: Option<i64>, power: Power, out: &mut Output) {
        if let Some(gap) = gap_ms {
            let minutes = (gap / MINUTE_MS).max(1) as u64;
            let bucket = (64 - (minutes - 1).leading_zeros() as usize).min(BUCKETS - 1);
            let row = &mut self.gaps[row(power)];
            row[bucket] = row[bucket].saturating_add(1);
            if row[bucket] == u16::MAX {
                row.iter_mut().for_each(|n| *n /= 2);
            }
        }
        let subject = Subject {
            condition: Condition::Silent,
            channel: None,
            at,
        };
        self.stand
            .fall(subject, out, || "The unit reports again".to_owned());
    }

    /// Longest gap that is this unit's habit, ms.
    fn habit_ms(&self, power: Power, config: &Config) -> i64 {
        let c = &config.silence;
        let row = &self.gaps[row(power)];
        let total: u32 = row.iter().map(|n| u32::from(*n)).sum();
        if total < u32::from(c.habit_gaps) {
            return 0;
        }
        let allowed = (f64::from(total) * (1.0 - c.habit_quantile)) as u32;
        let mut above = 0;
        for (bucket, n) in row.iter().enumerate().rev() {
            above += u32::from(*n);
            if above > allowed {
                return (MINUTE_MS << bucket).min((c.habit_longest_h * HOUR_MS as f64) as i64);
            }
        }
        0
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
        let least = (c.least_min * MINUTE_MS as f64) as i64;
        let gap = now - last;
        if gap <= expected.max(least) {
            self.live = true;
            return;
        }
        let habit = self.habit_ms(power, config);
        if !self.live || gap <= habit {
            return;
        }
        let subject = Subject {
            condition: Condition::Silent,
            channel: None,
            at: now,
        };
        let limit = expected.max(least).max(habit);
        self.stand.rise(subject, Standing::Open, last, 1.0, out, || {
            words(gap, cadence_s, limit, habit, power)
        });
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

fn words(gap: i64, cadence_s: f64, limit: i64, habit: i64, power: Power) -> Words {
    let mut because = Because::default();
    because.say(format!(
        "No reading for {}; this unit reports every {}.",
        say::duration(gap),
        say::duration((cadence_s * 1000.0) as i64)
    ));
    if habit > 0 {
        because.say(format!(
            "Its own gaps hardly ever exceed {}.",
            say::duration(habit)
        ));
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
