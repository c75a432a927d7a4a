//! A sensor that stands still although what it should follow moved.
//!
//! Standing still is no evidence by itself: a healthy sensor with coarse steps in a quiet load repeats one value for
//! hours. Counted is running time, and how far the neighbours moved meanwhile.

use rimeline_channels::{Channel, MINUTE_MS, UnixMs};
use serde::{Deserialize, Serialize};

use crate::config::Config;
use crate::evidence::Because;
use crate::minute::Minute;
use crate::regime::{Changes, Masks, Moment};
use crate::say;
use crate::sensors::{self, Frame, Past, SENSORS, WATCHED, index};
use crate::stand::{Stand, Subject, Words};
use crate::{Condition, Output, Standing};

/// The sensors that have something to follow.
const SUBJECTS: [usize; 7] = [
    index::RETURN_CONTROL,
    index::RETURN_CHECK,
    index::SUPPLY_CONTROL,
    index::SUPPLY_CHECK,
    index::COIL,
    index::DISCHARGE,
    index::SUCTION,
];
/// Readings for which it must stand still after it should have moved.
const RIPE: u8 = 4;
/// Movement of the supply air that a pressure must have shown where the other pressure is not fitted, K.
const PRESSURE_AIR_K: f64 = 5.0;

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
struct Still {
    value: Option<i16>,
    since: Minute,
    running_ms: i64,
    samples: u16,
    /// Starts and stops, defrosts, and door openings meanwhile.
    starts: u8,
    defrosts: u8,
    doors: u8,
    /// Lowest and highest of what it should follow.
    led: Option<(i16, i16)>,
    by_twin: bool,
    /// Readings since what it should follow had moved enough: the air needs time.
    ripe: u8,
    moving: u8,
    stand: Stand,
}

/// State kept per unit.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Stuck {
    stills: [Still; SUBJECTS.len()],
}

impl Stuck {
    /// `suspect` are sensors that are not to be believed as neighbours.
    pub(crate) fn step(
        &mut self,
        m: &Moment,
        frame: &Frame,
        pasts: &[Past; WATCHED],
        suspect: u16,
        config: &Config,
        out: &mut Output,
    ) {
        let running = if m.running == Some(true) { m.dt.unwrap_or(0) } else { 0 };
        let defrosted = m.changes.any(Changes::DEFROST_BEGAN);
        let opened = m.changes.any(Changes::DOOR_OPENED);
        let started = m.changes.any(Changes::STARTED) || m.changes.any(Changes::STOPPED);
        for (still, sensor) in self.stills.iter_mut().zip(SUBJECTS) {
            let Some(value) = frame.get(sensor) else { continue };
            if still.value != Some(value) {
                let stands = still.stand.stands();
                still.moving = if stands { still.moving.saturating_add(1) } else { 0 };
                if stands && still.moving >= config.stuck.clear_samples {
                    let channel = SENSORS[sensor];
                    still.stand.fall(subject(channel, m.at), out, || {
                        format!("{} moves again", say::channel_first(channel))
                    });
                    still.moving = 0;
                }
                let (stand, moving) = (std::mem::take(&mut still.stand), still.moving);
                *still = Still {
                    value: Some(value),
                    since: Minute::of(m.at),
                    samples: 1,
                    stand,
                    moving,
                    ..Still::default()
                };
                continue;
            }
            if m.dt.is_none() {
                // A gap never adds evidence: what moved in it is not known.
                still.led = None;
                continue;
            }
            still.running_ms += running;
            still.samples = still.samples.saturating_add(1);
            still.starts = still.starts.saturating_add(u8::from(started));
            still.defrosts = still.defrosts.saturating_add(u8::from(defrosted));
            still.doors = still.doors.saturating_add(u8::from(opened));
            let Some((lead, by_twin)) = lead(sensor, frame, suspect) else {
                continue;
            };
            // A defrost heats coil and supply sensor directly; the return air need not follow. A twin does.
            if !by_twin && m.masks.any(Masks::DEFROST.or(Masks::RECENT)) {
                continue;
            }
            if by_twin != still.by_twin {
                (still.led, still.by_twin) = (None, by_twin);
            }
            let (low, high) = still.led.unwrap_or((lead, lead));
            still.led = Some((low.min(lead), high.max(lead)));
            if still.enough(sensor, pasts[sensor].quantum(), config) {
                still.ripe = still.ripe.saturating_add(1);
            }
            if still.ripe >= RIPE {
                still.open(sensor, m, frame, out);
            }
        }
    }

    /// Sensors with an open finding, as a mask of channels.
    pub(crate) fn suspect(&self) -> u64 {
        self.stills
            .iter()
            .zip(SUBJECTS)
            .filter(|(s, _)| s.stand.flagged())
            .fold(0, |m, (_, s)| m | SENSORS[s].bit())
    }

    pub(crate) fn serviced(&mut self, channel: Option<Channel>) {
        for (still, sensor) in self.stills.iter_mut().zip(SUBJECTS) {
            if channel.is_none_or(|c| c == SENSORS[sensor]) {
                *still = Still::default();
            }
        }
    }
}

impl Still {
    fn events(&self) -> u32 {
        u32::from(self.starts) + u32::from(self.defrosts) + u32::from(self.doors)
    }

    /// What passed meanwhile, in words.
    fn passed(&self) -> String {
        let kinds = [
            (self.defrosts, "defrost", "defrosts"),
            (self.starts, "start or stop", "starts and stops"),
            (self.doors, "door opening", "door openings"),
        ];
        let told: Vec<String> = kinds
            .into_iter()
            .filter(|(n, ..)| *n > 0)
            .map(|(n, one, many)| say::count(u32::from(n), one, many))
            .collect();
        told.join(" and ")
    }

    /// How far what it should follow moved.
    fn moved(&self, sensor: usize) -> f64 {
        let steps = self.led.map_or(0.0, |(low, high)| f64::from(high) - f64::from(low));
        match sensor {
            // Led by supply air where its pair is missing: see `lead`.
            index::DISCHARGE | index::SUCTION if self.by_twin => steps,
            index::DISCHARGE | index::SUCTION => steps / SENSORS[index::SUPPLY_CONTROL].scale(),
            _ => sensors::quantity(sensor, steps),
        }
    }

    fn enough(&self, sensor: usize, quantum: f64, config: &Config) -> bool {
        let c = &config.stuck;
        let long =
            self.running_ms >= (c.minutes * MINUTE_MS as f64) as i64 && self.samples >= u16::from(c.samples);
        if !long {
            return false;
        }
        let moved = self.moved(sensor);
        if sensors::is_pressure(sensor) {
            let needed = if self.by_twin { c.excitation_kpa } else { PRESSURE_AIR_K };
            return self.starts >= c.pressure_starts && moved >= needed;
        }
        let coupling = if self.by_twin { c.twin_coupling } else { c.coupling };
        let needed = c.excitation_k.max(4.0 * sensors::quantity(sensor, quantum));
        self.events() >= u32::from(c.events) && moved * coupling >= needed
    }

    fn open(&mut self, sensor: usize, m: &Moment, frame: &Frame, out: &mut Output) {
        self.moving = 0;
        let channel = SENSORS[sensor];
        let Some(value) = frame.quantity(sensor) else {
            return;
        };
        let (since, running, moved) = (self.since.ms(), self.running_ms, self.moved(sensor));
        let (passed, by_twin) = (self.passed(), self.by_twin);
        self.stand.rise(subject(channel, m.at), Standing::Open, since, 1.0, out, || {
            words(channel, value, (m.at - since, running), (leader(sensor, by_twin), moved), &passed)
        });
    }
}

fn subject(channel: Channel, at: UnixMs) -> Subject {
    Subject { condition: Condition::SensorStuck, channel: Some(channel), at }
}

/// What a sensor should follow: its twin, or the mean of its neighbours, and whether it is the twin. In stored steps.
fn lead(sensor: usize, frame: &Frame, suspect: u16) -> Option<(i16, bool)> {
    let usable = |other: usize| frame.get(other).filter(|_| suspect >> other & 1 == 0);
    if sensors::is_pressure(sensor) {
        let pair = usable(sensor ^ 1).map(|v| (v, true));
        return pair.or_else(|| usable(index::SUPPLY_CONTROL).map(|v| (v, false)));
    }
    if let Some(value) = sensors::twin(sensor).and_then(usable) {
        return Some((value, true));
    }
    let neighbours: &[usize] = match sensor {
        index::RETURN_CONTROL | index::RETURN_CHECK => &[index::SUPPLY_CONTROL, index::SUPPLY_CHECK],
        index::SUPPLY_CONTROL | index::SUPPLY_CHECK => {
            &[index::RETURN_CONTROL, index::RETURN_CHECK, index::COIL]
        }
        _ => &[index::SUPPLY_CONTROL, index::SUPPLY_CHECK, index::RETURN_CONTROL],
    };
    let (sum, n) = neighbours
        .iter()
        .filter_map(|&other| usable(other))
        .fold((0i32, 0i32), |(sum, n), v| (sum + i32::from(v), n + 1));
    (n > 0).then(|| ((sum / n) as i16, false))
}

fn leader(sensor: usize, by_twin: bool) -> &'static str {
    match sensor {
        index::DISCHARGE if by_twin => "the suction pressure",
        index::SUCTION if by_twin => "the discharge pressure",
        _ if by_twin => "the other sensor of the same air stream",
        index::SUPPLY_CONTROL | index::SUPPLY_CHECK => "return air and coil",
        index::COIL => "supply and return air",
        _ => "the supply air",
    }
}

fn words(
    channel: Channel,
    value: f64,
    (span, running): (i64, i64),
    (leader, moved): (&str, f64),
    passed: &str,
) -> Words {
    let name = say::channel_first(channel);
    let pressure_led = leader.ends_with("pressure");
    let moved = if pressure_led { format!("{moved:.0} kPa") } else { format!("{moved:.1} K") };
    let mut because = Because::default();
    because.say(format!(
        "{name} unchanged at {} for {} while {leader} moved {moved} and {passed} passed.",
        say::value(channel, value),
        say::duration(span),
    ));
    because.say(format!("The unit ran for {} of that time.", say::duration(running)));
    Words {
        headline: format!("{name} stands still at {}", say::value(channel, value)),
        confidence: if leader.contains("other sensor") { 0.93 } else { 0.85 },
        hours_to_harm: None,
        evidence: because.done(),
    }
}
