//! A fitted channel that is left out while the unit goes on reporting.

use rimeline_channels::{Absence, Channel, HOUR_MS, Reading, UnixMs, Value};
use serde::{Deserialize, Serialize};

use crate::config::Config;
use crate::evidence::Because;
use crate::minute::Minute;
use crate::say;
use crate::stand::{Stand, Subject, Words};
use crate::{Condition, Output, Standing};

/// As many channels lost in one reading are one event of a module, not so many sensors.
const TOGETHER: usize = 3;

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
struct Gone {
    channel: Channel,
    since: Minute,
    /// Time in which the unit reported and ran without it.
    active_ms: i64,
    stand: Stand,
}

/// State kept per unit.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Missing {
    gone: Vec<Gone>,
    /// Of the channels that went together.
    group: Stand,
}

impl Missing {
    /// `expected` are the channels that always reported, `active` whether the unit runs.
    pub(crate) fn step(
        &mut self,
        reading: &Reading,
        expected: u64,
        active_ms: i64,
        config: &Config,
        out: &mut Output,
    ) {
        let at = reading.time;
        if !self.gone.is_empty() {
            self.returned(reading, out);
        }
        let mut left_out = expected & !reading.numbers();
        while left_out != 0 {
            let channel = Channel::ALL[left_out.trailing_zeros() as usize];
            left_out &= left_out - 1;
            if reading.get(channel) != Value::Absent(Absence::NotReported) {
                continue;
            }
            match self.gone.iter_mut().find(|g| g.channel == channel) {
                Some(gone) => gone.active_ms += active_ms,
                None => self.gone.push(Gone {
                    channel,
                    since: Minute::of(at),
                    active_ms: 0,
                    stand: Stand::default(),
                }),
            }
        }
        let long = (config.out_of_range.missing_hours * HOUR_MS as f64) as i64;
        for i in 0..self.gone.len() {
            if self.gone[i].active_ms >= long && !self.gone[i].stand.stands() {
                self.open(i, at, out);
            }
        }
    }

    fn open(&mut self, i: usize, at: UnixMs, out: &mut Output) {
        let (since, active_ms) = (self.gone[i].since, self.gone[i].active_ms);
        let together: Vec<Channel> =
            self.gone.iter().filter(|g| g.since == since).map(|g| g.channel).collect();
        let condition = Condition::SensorOutOfRange;
        if together.len() >= TOGETHER {
            let subject = Subject { condition, channel: None, at };
            self.group.rise(subject, Standing::Open, since.ms(), together.len() as f64, out, || {
                group_words(&together, active_ms)
            });
            return;
        }
        let gone = &mut self.gone[i];
        let subject = Subject { condition, channel: Some(gone.channel), at };
        let channel = gone.channel;
        gone.stand.rise(subject, Standing::Open, since.ms(), 1.0, out, || {
            let name = say::channel_first(channel);
            let mut because = Because::default();
            because.say(format!(
                "{name} has not been reported for {} of running time, although the unit reports and this channel \
                 always did.",
                say::duration(active_ms)
            ));
            Words {
                headline: format!("{name} is no longer reported"),
                confidence: 0.8,
                hours_to_harm: None,
                evidence: because.done(),
            }
        });
    }

    fn returned(&mut self, reading: &Reading, out: &mut Output) {
        let at = reading.time;
        self.gone.retain_mut(|gone| {
            let back = reading.get(gone.channel) != Value::Absent(Absence::NotReported);
            if back {
                let subject =
                    Subject { condition: Condition::SensorOutOfRange, channel: Some(gone.channel), at };
                let channel = gone.channel;
                gone.stand
                    .fall(subject, out, || format!("{} is reported again", say::channel_first(channel)));
            }
            !back
        });
        if self.gone.len() < TOGETHER {
            let subject = Subject { condition: Condition::SensorOutOfRange, channel: None, at };
            self.group.fall(subject, out, || "The channels are reported again".to_owned());
        }
    }

    pub(crate) fn serviced(&mut self) {
        *self = Self::default();
    }

    pub(crate) fn flagged(&self) -> bool {
        self.group.flagged() || self.gone.iter().any(|g| g.stand.flagged())
    }
}

fn group_words(together: &[Channel], active_ms: i64) -> Words {
    let names: Vec<_> = together.iter().map(|c| say::channel(*c)).collect();
    let mut because = Because::default();
    because.say(format!(
        "{} channels stopped in the same reading and have not been reported for {} of running time: {}.",
        together.len(),
        say::duration(active_ms),
        names.join("; ")
    ));
    because.say(
        "Lost together they point to a module, a plug or a configuration, not to the sensors.".to_owned(),
    );
    Words {
        headline: format!("{} channels stopped reporting together", together.len()),
        confidence: 0.9,
        hours_to_harm: None,
        evidence: because.done(),
    }
}
