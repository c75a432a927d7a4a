use rimeline_channels::{Channel, UnixMs};
use serde::{Deserialize, Serialize};

use crate::minute::Minute;
use crate::{Condition, Evidence, Output, Signal, Standing};

/// A standing condition is said again when its strength has grown by this factor since it was last said.
const SAY_AGAIN: f32 = 1.5;

/// How one condition stands on one unit, and what was last said about it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Stand {
    standing: Option<Standing>,
    onset: Minute,
    said: f32,
    /// Admitted observations in a row that look healthy again.
    calm: u8,
}

/// What a signal says beside its standing. Made only when it is said.
#[derive(Clone, Debug, Default)]
pub(crate) struct Words {
    pub(crate) headline: String,
    pub(crate) confidence: f64,
    pub(crate) hours_to_harm: Option<f64>,
    pub(crate) evidence: Evidence,
}

/// Which condition, of which channel, decided when.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Subject {
    pub(crate) condition: Condition,
    pub(crate) channel: Option<Channel>,
    pub(crate) at: UnixMs,
}

fn rank(standing: Standing) -> u8 {
    match standing {
        Standing::Clear => 0,
        Standing::Pending => 1,
        Standing::Open => 2,
        Standing::Escalated => 3,
    }
}

impl Stand {
    /// Open or escalated.
    pub(crate) fn flagged(&self) -> bool {
        matches!(self.standing, Some(Standing::Open | Standing::Escalated))
    }

    pub(crate) fn stands(&self) -> bool {
        self.standing.is_some()
    }

    /// Lets the condition stand, and says so where that is news. The onset is that of the first call.
    pub(crate) fn rise(
        &mut self,
        subject: Subject,
        to: Standing,
        onset: UnixMs,
        strength: f64,
        out: &mut Output,
        words: impl FnOnce() -> Words,
    ) {
        self.calm = 0;
        let before = self.standing;
        if before.is_none() {
            self.onset = Minute::of(onset.min(subject.at));
        }
        let higher = before.is_none_or(|b| rank(to) > rank(b));
        let held = if higher { to } else { before.unwrap_or(to) };
        let stronger = strength as f32 >= self.said * SAY_AGAIN && rank(to) >= rank(held);
        self.standing = Some(held);
        if higher || stronger {
            self.said = strength as f32;
            self.say(subject, held, strength, out, words());
        }
    }

    /// Counts an observation that looks healthy; after `needed` in a row the condition no longer stands, which is
    /// said.
    pub(crate) fn calm(
        &mut self,
        subject: Subject,
        needed: u8,
        out: &mut Output,
        why: impl FnOnce() -> String,
    ) {
        let Some(standing) = self.standing else { return };
        self.calm = self.calm.saturating_add(1);
        // First signs that come to nothing need no proof of health.
        if self.calm >= needed || standing == Standing::Pending {
            self.fall(subject, out, why);
        }
    }

    /// An observation that is neither: the count of healthy ones starts again.
    pub(crate) fn unsure(&mut self) {
        self.calm = 0;
    }

    /// Ends the condition at once.
    pub(crate) fn fall(&mut self, subject: Subject, out: &mut Output, why: impl FnOnce() -> String) {
        if self.standing.is_none() {
            return;
        }
        let headline = why();
        let words = Words { headline, ..Words::default() };
        self.say(subject, Standing::Clear, 0.0, out, words);
        *self = Self::default();
    }

    fn say(&self, subject: Subject, standing: Standing, strength: f64, out: &mut Output, words: Words) {
        out.signals.push(Signal {
            condition: subject.condition,
            channel: subject.channel,
            standing,
            at: subject.at,
            onset: self.onset.ms(),
            strength,
            confidence: words.confidence.clamp(0.0, 0.95),
            hours_to_harm: words.hours_to_harm,
            headline: words.headline,
            evidence: words.evidence,
        });
    }
}

#[cfg(test)]
mod tests {
    use rimeline_channels::MINUTE_MS;

    use super::*;

    /// Times in minutes.
    fn subject(at: i64) -> Subject {
        Subject { condition: Condition::SensorNoisy, channel: None, at: at * MINUTE_MS }
    }

    #[test]
    fn the_onset_stays_and_only_news_is_said() {
        let (mut stand, mut out) = (Stand::default(), Output::default());
        stand.rise(subject(100), Standing::Open, 40 * MINUTE_MS, 1.0, &mut out, Words::default);
        stand.rise(subject(200), Standing::Open, 90 * MINUTE_MS, 1.1, &mut out, Words::default);
        stand.rise(subject(300), Standing::Pending, 90 * MINUTE_MS, 9.0, &mut out, Words::default);
        stand.rise(subject(400), Standing::Escalated, 90 * MINUTE_MS, 2.0, &mut out, Words::default);
        let said: Vec<_> =
            out.signals.iter().map(|s| (s.at / MINUTE_MS, s.standing, s.onset / MINUTE_MS)).collect();
        assert_eq!(said, [(100, Standing::Open, 40), (400, Standing::Escalated, 40)]);
    }

    #[test]
    fn clearing_takes_healthy_observations_in_a_row() {
        let (mut stand, mut out) = (Stand::default(), Output::default());
        stand.rise(subject(1), Standing::Open, 1, 1.0, &mut out, Words::default);
        for at in 2..4 {
            stand.calm(subject(at), 3, &mut out, String::new);
        }
        stand.unsure();
        for at in 5..8 {
            assert!(stand.flagged());
            stand.calm(subject(at), 3, &mut out, String::new);
        }
        assert!(!stand.stands());
        assert_eq!(out.signals.last().map(|s| (s.at, s.standing)), Some((7 * MINUTE_MS, Standing::Clear)));
    }
}
