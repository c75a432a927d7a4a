//! Readings that cannot be; circuits reported open, shorted or failed; loose connections.
//!
//! Always on: no mask applies. A channel that was never plausible and is not stated as fitted is not a finding.

use std::sync::LazyLock;

use rimeline_channels::{Absence, Channel, ChannelGroup, DAY_MS, MINUTE_MS, Reading, UnixMs, Value};
use serde::{Deserialize, Serialize};

use crate::config::Config;
use crate::evidence::{self, Because};
use crate::minute::Minute;
use crate::say;
use crate::sensors::{self, Past, WATCHED};
use crate::stand::{Stand, Subject, Words};
use crate::{Condition, Output, Standing, UnitSetup};

/// A cadence from which two bad samples are enough, s.
const SLOW_CADENCE_S: f64 = 450.0;

/// Per channel the span in stored numbers, and the mask of the channels that are sensors.
static SENSORS: LazyLock<(Vec<(i32, i32)>, u64)> = LazyLock::new(|| {
    let spans = Channel::ALL.iter().map(|c| {
        let (low, high) = c.spec().span;
        (c.to_fixed(low).unwrap_or(i32::MIN), c.to_fixed(high).unwrap_or(i32::MAX))
    });
    let is_sensor = |c: &&Channel| !matches!(c.spec().group, ChannelGroup::Counter | ChannelGroup::Command);
    let mask = Channel::ALL.iter().filter(is_sensor).fold(0, |mask, c| mask | c.bit());
    (spans.collect(), mask)
});

pub(crate) fn sensors() -> u64 {
    SENSORS.1
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
enum Kind {
    Below,
    Above,
    Open,
    Short,
    Failed,
}

/// What is known of a channel that is not right, or was not within the last day.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
struct Trouble {
    channel: Channel,
    kind: Kind,
    /// Bad samples in a row, without a gap between them.
    bad: u8,
    /// Contiguous time they span.
    bad_ms: i64,
    since: Minute,
    good_since: Option<Minute>,
    last_good: Option<i32>,
    worst: Option<i32>,
    excursions: u8,
    first_excursion: Minute,
    stand: Stand,
}

/// A channel on its way to being known as fitted.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
struct Seen {
    channel: Channel,
    count: u8,
    value: i32,
    varied: bool,
}

/// State kept per unit.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct OutOfRange {
    present: u64,
    seen: Vec<Seen>,
    troubles: Vec<Trouble>,
}

/// What the test needs beside the reading.
pub(crate) struct Around<'a> {
    pub(crate) dt: Option<i64>,
    pub(crate) cadence_s: f64,
    pub(crate) setup: &'a UnitSetup,
    pub(crate) config: &'a Config,
    /// Last values of the sensors that are watched one by one.
    pub(crate) pasts: &'a [Past; WATCHED],
}

fn mask(channels: &[Channel]) -> u64 {
    channels.iter().fold(0, |mask, c| mask | c.bit())
}

impl OutOfRange {
    /// Channels known to be fitted, from the registry or from what they delivered.
    pub(crate) fn fitted(&self, setup: &UnitSetup) -> u64 {
        match setup.fitted.as_slice() {
            [] => self.present,
            stated => mask(stated),
        }
    }

    /// Channels that delivered plausible numbers; those stated as not fitted left out.
    pub(crate) fn present(&self, setup: &UnitSetup) -> u64 {
        self.present & self.fitted(setup)
    }

    /// Channels with an open finding.
    pub(crate) fn suspect(&self) -> u64 {
        self.troubles.iter().filter(|t| t.stand.flagged()).fold(0, |m, t| m | t.channel.bit())
    }

    /// Judges every sensor of a reading; returns the mask of those whose number cannot be used.
    pub(crate) fn step(&mut self, reading: &Reading, around: &Around<'_>, out: &mut Output) -> u64 {
        let fitted = self.fitted(around.setup);
        let mut bad = 0;
        let mut watch = (reading.numbers() | fitted) & sensors();
        while watch != 0 {
            let i = watch.trailing_zeros() as usize;
            watch &= watch - 1;
            let channel = Channel::ALL[i];
            let (low, high) = SENSORS.0[i];
            let kind = match reading.get(channel) {
                Value::Number(n) if n < low => Some((Kind::Below, Some(n))),
                Value::Number(n) if n > high => Some((Kind::Above, Some(n))),
                Value::Number(n) => {
                    if self.present & channel.bit() == 0 {
                        self.learn_present(channel, n, around.config);
                    }
                    None
                }
                Value::Absent(Absence::FailedOpen) => Some((Kind::Open, None)),
                Value::Absent(Absence::FailedShort) => Some((Kind::Short, None)),
                Value::Absent(Absence::FailedOther) => Some((Kind::Failed, None)),
                Value::Absent(Absence::NotFitted | Absence::NotReported) => continue,
            };
            match kind {
                Some((kind, number)) => {
                    bad |= channel.bit();
                    if fitted & channel.bit() != 0 {
                        self.bad(channel, kind, number, reading.time, around, out);
                    }
                }
                None if self.troubles.is_empty() => {}
                None => self.good(channel, reading.fixed(channel), reading.time, around, out),
            }
        }
        bad
    }

    fn learn_present(&mut self, channel: Channel, value: i32, config: &Config) {
        let Some(at) = self.seen.iter().position(|s| s.channel == channel) else {
            self.seen.push(Seen { channel, count: 1, value, varied: false });
            return;
        };
        let seen = &mut self.seen[at];
        seen.count = seen.count.saturating_add(1);
        seen.varied |= seen.value != value;
        // A value that never varies may be what an input without a sensor shows.
        if seen.varied && seen.count >= config.out_of_range.present_readings {
            self.present |= channel.bit();
            self.seen.swap_remove(at);
        }
    }

    fn bad(
        &mut self,
        channel: Channel,
        kind: Kind,
        number: Option<i32>,
        at: UnixMs,
        around: &Around<'_>,
        out: &mut Output,
    ) {
        let c = &around.config.out_of_range;
        let i = self.troubles.iter().position(|t| t.channel == channel).unwrap_or_else(|| {
            let last_good = sensors::last(around.pasts, channel);
            self.troubles.push(Trouble::new(channel, kind, at, last_good));
            self.troubles.len() - 1
        });
        let t = &mut self.troubles[i];
        if t.good_since.take().is_some() || t.excursions == 0 {
            if at - t.first_excursion.ms() > DAY_MS {
                t.excursions = 0;
                t.first_excursion = Minute::of(at);
            }
            t.excursions = t.excursions.saturating_add(1);
            (t.bad, t.bad_ms, t.since) = (0, 0, Minute::of(at));
        }
        t.bad = match around.dt {
            // A gap never adds evidence.
            None => 1,
            Some(dt) => {
                t.bad_ms += if t.bad == 0 { 0 } else { dt };
                t.bad.saturating_add(1)
            }
        };
        if around.dt.is_none() {
            t.bad_ms = 0;
        }
        t.kind = kind;
        t.worst = number.or(t.worst);
        let samples = if around.cadence_s >= SLOW_CADENCE_S { 2 } else { c.samples };
        let lasting = t.bad >= samples && t.bad_ms >= (c.minutes * MINUTE_MS as f64) as i64;
        let loose = t.excursions >= c.intermittent;
        if lasting || loose {
            let controls = around.setup.load.is_some()
                && matches!(channel, Channel::ReturnAirControl | Channel::SupplyAirControl);
            let to = if controls { Standing::Escalated } else { Standing::Open };
            let onset = if lasting { t.since } else { t.first_excursion }.ms();
            let subject = Subject { condition: Condition::SensorOutOfRange, channel: Some(channel), at };
            let (kind, last_good, worst, excursions) = (t.kind, t.last_good, t.worst, t.excursions);
            let since = t.since.ms();
            t.stand.rise(subject, to, onset, 1.0, out, || {
                words(channel, kind, (last_good, worst), lasting.then_some(at - since), excursions, controls)
            });
        }
    }

    fn good(
        &mut self,
        channel: Channel,
        number: Option<i32>,
        at: UnixMs,
        around: &Around<'_>,
        out: &mut Output,
    ) {
        let Some(i) = self.troubles.iter().position(|t| t.channel == channel) else {
            return;
        };
        let t = &mut self.troubles[i];
        let since = t.good_since.get_or_insert(Minute::of(at)).ms();
        t.last_good = number.or(t.last_good);
        t.bad = 0;
        let loose = t.excursions >= around.config.out_of_range.intermittent;
        let clear_ms = (around.config.out_of_range.clear_min * MINUTE_MS as f64) as i64;
        if at - since >= if loose { DAY_MS } else { clear_ms } {
            let subject = Subject { condition: Condition::SensorOutOfRange, channel: Some(channel), at };
            t.stand.fall(subject, out, || {
                format!(
                    "{} has been plausible for {}",
                    say::channel_first(channel),
                    say::duration(at - since)
                )
            });
        }
        if at - since >= DAY_MS {
            self.troubles.swap_remove(i);
        }
    }

    pub(crate) fn serviced(&mut self, channel: Option<Channel>) {
        self.troubles.retain(|t| channel.is_some_and(|c| c != t.channel));
    }
}

impl Trouble {
    fn new(channel: Channel, kind: Kind, at: UnixMs, last_good: Option<i32>) -> Self {
        Self {
            channel,
            kind,
            bad: 0,
            bad_ms: 0,
            since: Minute::of(at),
            good_since: None,
            last_good,
            worst: None,
            excursions: 0,
            first_excursion: Minute::of(at),
            stand: Stand::default(),
        }
    }
}

fn words(
    channel: Channel,
    kind: Kind,
    (last_good, worst): (Option<i32>, Option<i32>),
    lasting: Option<i64>,
    excursions: u8,
    controls: bool,
) -> Words {
    let name = say::channel_first(channel);
    let (low, high) = channel.spec().span;
    let shown = worst.map_or(String::new(), |w| say::value(channel, channel.to_quantity(w)));
    let what = match kind {
        Kind::Below => format!("reads {shown}, below what can be"),
        Kind::Above => format!("reads {shown}, above what can be"),
        Kind::Open => "circuit is open".to_owned(),
        Kind::Short => "circuit is shorted".to_owned(),
        Kind::Failed => "is reported as failed".to_owned(),
    };
    let mut because = Because::default();
    match lasting {
        Some(span) => because.say(format!("{name} {what}, for {} so far.", say::duration(span))),
        None => because.say(format!(
            "{name} left its range {excursions} times within 24 h and came back each time: a loose connection."
        )),
    }
    match (kind, evidence::is_temperature(channel)) {
        (Kind::Below, true) => {
            because.say("A thermistor reads very cold when its circuit is open.".to_owned());
        }
        (Kind::Above, true) => {
            because.say("A thermistor reads very hot when its circuit is shorted.".to_owned());
        }
        _ => {}
    }
    if let Some(good) = last_good {
        because.say(format!("Last plausible value {}.", say::value(channel, channel.to_quantity(good))));
    }
    if controls {
        because.say("The unit controls by this sensor and carries a load.".to_owned());
    }
    if matches!(kind, Kind::Below | Kind::Above) {
        because.limit("lowest plausible", low);
        because.limit("highest plausible", high);
    }
    let reported = matches!(kind, Kind::Open | Kind::Short | Kind::Failed);
    let headline = match lasting {
        Some(_) => format!("{name} {what}"),
        None => format!("{name}: loose connection, {excursions} excursions in 24 h"),
    };
    let confidence = if reported { 0.95 } else { 0.9 };
    Words { headline, confidence, hours_to_harm: None, evidence: because.done() }
}
