//! Single values that jump away and come back.
//!
//! A value far from the median of its predecessors is set aside until the next ones show whether it came back: a step
//! stays. Where a sensor has a twin, the difference of the two is looked at, which no movement of the air disturbs.

use rimeline_channels::{Channel, DAY_MS, MINUTE_MS, UnixMs};
use serde::{Deserialize, Serialize};

use crate::config::Config;
use crate::evidence::{Because, day_of};
use crate::minute::Minute;
use crate::say;
use crate::sensors::{self, Frame, PAST, Past, SENSORS, WATCHED, index};
use crate::stand::{Stand, Subject, Words};
use crate::stats::{MAD_TO_SIGMA, mad_in_place, median_in_place};
use crate::{Condition, Mark, Output, Standing};

/// Values needed before a newest one can be called odd.
const LEAST_PAST: usize = 4;
/// Readings within which a spike has to be back.
const BACK_WITHIN: u8 = 2;
/// How much larger a departure has to be while air and circuit are stirred.
const STIRRED: f64 = 3.0;

#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
struct Doubt {
    at: UnixMs,
    value: i16,
    expected: i16,
    age: u8,
}

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
struct Watch {
    /// Typical step from one value to the next, in stored steps.
    typical: f32,
    doubt: Option<Doubt>,
    count: u8,
    days: u8,
    last: Option<Minute>,
    first: Option<Minute>,
    stand: Stand,
}

/// State kept per unit.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Spiking {
    watches: [Watch; WATCHED],
}

/// What moves air and circuit at the time of a reading.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Stir {
    /// A start, stop or change of speed within the last readings.
    pub(crate) machine: bool,
    /// A door or a defrost, reported or guessed.
    pub(crate) air: bool,
}

impl Spiking {
    /// Judges a reading: doubtful values are taken out of `frame`, accepted ones go into `pasts`.
    pub(crate) fn step(
        &mut self,
        at: UnixMs,
        frame: &mut Frame,
        pasts: &mut [Past; WATCHED],
        (stir, suspect): (Stir, u16),
        config: &Config,
        out: &mut Output,
    ) {
        let seen = *frame;
        let believed = seen.without(suspect);
        // Twins and neighbours are compared with what they were before this reading.
        let before = pasts.clone();
        for (sensor, past) in pasts.iter_mut().enumerate() {
            let Some(value) = seen.get(sensor) else {
                past.miss();
                continue;
            };
            let watch = &mut self.watches[sensor];
            if let Some(doubt) = watch.doubt {
                let away = f64::from(doubt.value) - f64::from(doubt.expected);
                let now = f64::from(value) - f64::from(doubt.expected);
                let back = now.abs() < 0.5 * away.abs();
                if !back && doubt.age + 1 < BACK_WITHIN {
                    watch.doubt = Some(Doubt { age: doubt.age + 1, ..doubt });
                    frame.drop(sensor);
                    continue;
                }
                watch.doubt = None;
                if back {
                    self.spike(sensor, doubt, config, out);
                } else {
                    // A step: what went before says nothing about what comes now.
                    past.forget();
                }
                past.push(value);
                continue;
            }
            let near = past.values().first().map(|last| f64::from(last.abs_diff(value)));
            if near.is_some_and(|step| step >= least(sensor, config))
                && let Some(expected) = self.odd(sensor, value, (&believed, &before), stir, config)
            {
                self.watches[sensor].doubt = Some(Doubt { at, value, expected, age: 0 });
                frame.drop(sensor);
                continue;
            }
            if let Some(step) = near {
                let watch = &mut self.watches[sensor];
                let step = (step as f32).min(4.0 * watch.typical + 2.0);
                watch.typical += 0.02 * (step - watch.typical);
            }
            past.push(value);
            self.quiet(sensor, at, config, out);
        }
    }

    /// What the value should be, where it is odd.
    fn odd(
        &self,
        sensor: usize,
        value: i16,
        (seen, before): (&Frame, &[Past; WATCHED]),
        stir: Stir,
        config: &Config,
    ) -> Option<i16> {
        let past = before[sensor].values();
        if past.len() < LEAST_PAST {
            return None;
        }
        let c = &config.spikes;
        let mut window = [0.0; PAST + 1];
        let window = &mut window[..=past.len()];
        for (slot, v) in window.iter_mut().zip(past.iter().chain([&value])) {
            *slot = f64::from(*v);
        }
        let median = median_in_place(window)?;
        let sigma = MAD_TO_SIGMA * mad_in_place(window, median)?;
        let expected = middle(past)?;
        let away = f64::from(value) - expected;
        let floor = sensors::steps(sensor, if sensors::is_pressure(sensor) { 1.0 } else { 0.1 });
        let typical = c.typical_steps * f64::from(self.watches[sensor].typical);
        let mut needed = (c.kappa * sigma.max(floor)).max(typical).max(least(sensor, config));
        let twin =
            sensors::twin(sensor).and_then(|t| Some(f64::from(seen.get(t)?) - middle(before[t].values())?));
        match twin {
            Some(followed) => {
                // What the twin saw as well is of the air.
                return ((away - followed).abs() > needed && followed.abs() < 0.5 * away.abs())
                    .then_some(expected.round() as i16);
            }
            None if stir.air && sensor != index::AMBIENT => return None,
            None if stir.machine => match sensor {
                index::SUPPLY_CONTROL
                | index::SUPPLY_CHECK
                | index::COIL
                | index::DISCHARGE
                | index::SUCTION => {
                    return None;
                }
                index::AMBIENT => {}
                _ => needed *= STIRRED,
            },
            None => {}
        }
        let moved =
            |other: usize| Some(f64::from(seen.get(other)?) - f64::from(*before[other].values().first()?));
        let moved_alike = (0..WATCHED).any(|other| {
            other != sensor
                && other != index::AMBIENT
                && sensor != index::AMBIENT
                && sensors::is_pressure(other) == sensors::is_pressure(sensor)
                && moved(other).is_some_and(|by| by * away.signum() > c.neighbour_share * away.abs())
        });
        (away.abs() > needed && !moved_alike).then_some(expected.round() as i16)
    }

    fn spike(&mut self, sensor: usize, doubt: Doubt, config: &Config, out: &mut Output) {
        let channel = SENSORS[sensor];
        let value = channel.to_quantity(i32::from(doubt.value));
        let expected = channel.to_quantity(i32::from(doubt.expected));
        let what = format!("jumped by {} and came back", say::difference(channel, (value - expected).abs()));
        out.marks.push(Mark { channel, at: doubt.at, value, expected, what });
        let c = &config.spikes;
        let watch = &mut self.watches[sensor];
        if watch.last.is_none_or(|last| day_of(last.ms()) != day_of(doubt.at)) {
            watch.days = watch.days.saturating_add(1);
        }
        watch.count = watch.count.saturating_add(1);
        watch.last = Some(Minute::of(doubt.at));
        let first = watch.first.get_or_insert(Minute::of(doubt.at)).ms();
        if watch.count >= c.count && watch.days >= c.days {
            let subject =
                Subject { condition: Condition::SensorSpiking, channel: Some(channel), at: doubt.at };
            let (count, days) = (watch.count, watch.days);
            let strength = f64::from(count) / f64::from(c.count);
            watch.stand.rise(subject, Standing::Open, first, strength, out, || {
                words(channel, (count, days), doubt.at - first, (value, expected))
            });
        }
    }

    fn quiet(&mut self, sensor: usize, at: UnixMs, config: &Config, out: &mut Output) {
        let watch = &mut self.watches[sensor];
        let Some(last) = watch.last.map(Minute::ms) else {
            return;
        };
        if at - last >= (config.spikes.quiet_days * DAY_MS as f64) as i64 {
            let channel = SENSORS[sensor];
            let subject = Subject { condition: Condition::SensorSpiking, channel: Some(channel), at };
            watch.stand.fall(subject, out, || {
                format!("{} has not jumped for {}", say::channel_first(channel), say::duration(at - last))
            });
            *watch = Watch { typical: watch.typical, ..Watch::default() };
        }
    }

    /// A gap: what was in doubt stays undecided.
    pub(crate) fn gap(&mut self) {
        self.watches.iter_mut().for_each(|w| w.doubt = None);
    }

    pub(crate) fn serviced(&mut self, channel: Option<Channel>) {
        for (watch, sensor) in self.watches.iter_mut().zip(SENSORS) {
            if channel.is_none_or(|c| c == sensor) {
                *watch = Watch { typical: watch.typical, ..Watch::default() };
            }
        }
    }

    pub(crate) fn flagged(&self) -> bool {
        self.watches.iter().any(|w| w.stand.flagged())
    }
}

/// The median of past values; `None` where there are too few.
fn middle(past: &[i16]) -> Option<f64> {
    if past.len() < LEAST_PAST {
        return None;
    }
    let mut window = [0.0; PAST];
    for (slot, v) in window.iter_mut().zip(past) {
        *slot = f64::from(*v);
    }
    median_in_place(&mut window[..past.len()])
}

/// Smallest departure that is looked at, in stored steps.
fn least(sensor: usize, config: &Config) -> f64 {
    let c = &config.spikes;
    let quantity = match sensor {
        index::DISCHARGE | index::SUCTION => c.least_kpa,
        index::AMBIENT => c.least_ambient_k,
        _ => c.least_k,
    };
    sensors::steps(sensor, quantity)
}

/// How long after a start, stop or change of speed the machine still stirs.
pub(crate) fn stir_ms(cadence_s: f64) -> i64 {
    (2.5 * cadence_s * 1000.0).max(8.0 * MINUTE_MS as f64) as i64
}

fn words(channel: Channel, (count, days): (u8, u8), span: i64, (value, expected): (f64, f64)) -> Words {
    let name = say::channel_first(channel);
    let mut because = Because::default();
    because.say(format!(
        "{name} jumped away and came back {count} times on {days} days within {}.",
        say::duration(span)
    ));
    because.say(format!(
        "The last time it read {} where {} was expected.",
        say::value(channel, value),
        say::value(channel, expected)
    ));
    because.say("The odd values were set aside; no other test used them.".to_owned());
    Words {
        headline: format!("{name} jumps: {count} times on {days} days"),
        confidence: (0.6 + 0.04 * f64::from(count)).min(0.9),
        hours_to_harm: None,
        evidence: because.done(),
    }
}
