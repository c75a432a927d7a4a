//! Compressor starts per hour in start-stop mode, against the unit's own law of starts over duty.
//!
//! A thermostat starts most often at half duty: N = Nmax * 4 d (1 - d). Tested is the excess over that, so that a
//! change of load is no finding. Starts come from the unit's counter, from state events, or from fast sampling; what is
//! sampled too slowly is not judged.

mod words;

use rimeline_channels::{DAY_MS, Door, HOUR_MS, MINUTE_MS, Power, Stage, State, UnixMs};
use serde::{Deserialize, Serialize};

use crate::chart::{Chart, confidence};
use crate::config::Config;
use crate::evidence::Because;
use crate::observed::Observed;
use crate::reduce::{median_f32, spread};
use crate::regime::{Changes, Masks, minutes};
use crate::stand::{Stand, Subject, Words};
use crate::{Condition, Output, Standing, UnitSetup};
use words::add_cause;

/// Days kept for drawing.
const HISTORY: usize = 21;
/// Days a baseline may have at most.
const MOST_DAYS: usize = 28;
/// More starts than this between two readings is a counter that was reset or replaced.
const MOST_STARTS: i32 = 60;
/// Discharge pressure over this share of the cut-out at a stop points to the condenser.
const NEAR_CUT_OUT: f64 = 0.9;
/// Suction pressure under this at a stop points to the low side, kPa in gauge.
const LOW_SUCTION_KPA: f64 = 40.0;

/// Counted over a day, masked time taken off.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
struct Counted {
    starts: u16,
    minutes: f32,
    running: f32,
    /// Stops at the set point, at low suction, at high discharge pressure, by protection otherwise.
    ends: [u8; 4],
}

#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
struct Past {
    day: u16,
    /// Starts per hour, run time and expected starts, hundredths.
    rate: u16,
    expected: u16,
    run_min: u16,
}

/// State kept per unit.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Cycling {
    /// Starts seen since the beginning, masked or not.
    total: u32,
    counter: Option<i32>,
    /// Starts come as events.
    events_seen: bool,
    pending_starts: u8,
    started: Option<UnixMs>,
    day: Counted,
    hour: Counted,
    hour_began: UnixMs,
    /// Hours in a row over the hard rate; ends of the latest short runs.
    fast_hours: u8,
    short_ends: [UnixMs; 3],
    /// (square root of the law's peak, run time) while learning: thousandths and tenths.
    learning: Vec<(i16, i16)>,
    /// Square root of the peak, its spread, run time, days.
    baseline: Option<(f32, f32, f32, u8)>,
    chart: Chart,
    history: Vec<Past>,
    stand: Stand,
}

/// Time in which starts are the thermostat's own.
const MASKS: Masks =
    Masks::OFF.or(Masks::DEFROST).or(Masks::DOOR).or(Masks::DOOR_GUESS).or(Masks::SET_POINT).or(Masks::GAP);

impl Cycling {
    /// Starts of the compressor that were seen, masked or not.
    pub(crate) fn total(&self) -> u32 {
        self.total
    }

    /// Takes in a change of state; `event`: it came as an event and not with a reading.
    pub(crate) fn transition(
        &mut self,
        at: UnixMs,
        changes: Changes,
        state: &State,
        event: bool,
        config: &Config,
    ) {
        self.events_seen |= event;
        if changes.any(Changes::STARTED) {
            self.total += 1;
            self.pending_starts = self.pending_starts.saturating_add(1);
            // A heating run may be short by its nature.
            self.started = (state.stage != Stage::Heating).then_some(at);
        }
        if changes.any(Changes::STOPPED)
            && let Some(started) = self.started.take()
            && minutes(at - started) < config.cycling.short_run_min
            && !changes.any(Changes::DEFROST_BEGAN)
            && state.door != Door::Open
            && state.power != Power::Off
        {
            self.short_ends.rotate_left(1);
            self.short_ends[2] = at;
        }
        if changes.any(Changes::GAP) {
            self.started = None;
        }
    }

    /// Returns true where starts can be counted here.
    pub(crate) fn observe(
        &mut self,
        o: &Observed,
        grace: bool,
        setup: &UnitSetup,
        config: &Config,
        out: &mut Output,
    ) -> bool {
        let m = &o.moment;
        let seen = std::mem::take(&mut self.pending_starts);
        let before = std::mem::replace(&mut self.counter, o.starts_counter);
        let counted = match (before, o.starts_counter) {
            (Some(b), Some(now)) if (0..=MOST_STARTS).contains(&(now - b)) => Some((now - b) as u16),
            (_, Some(_)) => Some(0),
            _ => self.can_count(m.cadence_min(), config).then_some(u16::from(seen)),
        };
        let (Some(starts), Some(dt)) = (counted, m.dt) else {
            return counted.is_some();
        };
        if !m.start_stop() || m.masks.any(MASKS) {
            return m.start_stop();
        }
        let starts = if grace { 0 } else { starts };
        let passed = minutes(dt) as f32;
        let end = m.changes.any(Changes::STOPPED).then(|| end_of_run(o, setup));
        for counted in [&mut self.day, &mut self.hour] {
            counted.starts += starts;
            counted.minutes += passed;
            counted.running += if m.running == Some(true) { passed } else { 0.0 };
            if let Some(end) = end {
                counted.ends[end] = counted.ends[end].saturating_add(1);
            }
        }
        self.hard_limits(o, config, out);
        true
    }

    /// Whether transitions in sampled states show (nearly) every start.
    fn can_count(&self, cadence_min: f64, config: &Config) -> bool {
        self.events_seen || cadence_min <= config.cycling.blind_cadence_min
    }

    /// Levels that need no baseline.
    fn hard_limits(&mut self, o: &Observed, config: &Config, out: &mut Output) {
        let c = &config.cycling;
        let at = o.moment.at;
        let short = usize::from(c.short_runs).min(self.short_ends.len());
        let oldest = self.short_ends[self.short_ends.len() - short];
        if o.moment.changes.any(Changes::STOPPED) && oldest > 0 && at - oldest <= HOUR_MS {
            self.open_hard(
                at,
                oldest,
                config,
                out,
                &format!("{short} runs shorter than {} min", c.short_run_min),
            );
        }
        if self.hour_began == 0 || at - self.hour_began > 2 * HOUR_MS {
            (self.hour_began, self.hour) = (at, Counted::default());
        }
        if at - self.hour_began < HOUR_MS {
            return;
        }
        let hour = std::mem::take(&mut self.hour);
        self.hour_began = at;
        if hour.minutes < 40.0 {
            return;
        }
        let rate = f64::from(hour.starts) / f64::from(hour.minutes) * 60.0;
        self.fast_hours = if rate > c.act_per_hour { self.fast_hours.saturating_add(1) } else { 0 };
        if f64::from(self.fast_hours) >= c.act_hours {
            let since = at - i64::from(self.fast_hours) * HOUR_MS;
            self.open_hard(at, since, config, out, &format!("{rate:.0} starts in the last hour"));
        }
    }

    fn open_hard(&mut self, at: UnixMs, since: UnixMs, config: &Config, out: &mut Output, what: &str) {
        let subject = Subject { condition: Condition::ShortCycling, channel: None, at };
        let day = self.day;
        let hours = self.fast_hours;
        self.stand.rise(subject, Standing::Escalated, since, 1.0, out, || {
            let mut because = Because::default();
            because.say(if hours > 0 {
                format!("{what}, the {hours}. hour in a row over {:.0}.", config.cycling.act_per_hour)
            } else {
                format!("{what} within an hour.")
            });
            because.say("More than 6 starts an hour wear a compressor (common practice).".to_owned());
            add_cause(&day, &mut because);
            because.limit("act from, starts per hour", config.cycling.act_per_hour);
            Words {
                headline: format!("Short cycling: {what}"),
                confidence: 0.9,
                hours_to_harm: None,
                evidence: because.done(),
            }
        });
    }

    /// A day is over. Returns whether it was judged.
    pub(crate) fn close_day(&mut self, day: u16, now: UnixMs, config: &Config, out: &mut Output) -> bool {
        let counted = std::mem::take(&mut self.day);
        let c = &config.cycling;
        let hours = f64::from(counted.minutes) / 60.0;
        if hours < c.least_hours {
            return false;
        }
        let rate = f64::from(counted.starts) / hours;
        let duty = (f64::from(counted.running) / f64::from(counted.minutes)).clamp(0.05, 0.95);
        let shape = 4.0 * duty * (1.0 - duty);
        let run_min = f64::from(counted.running) / f64::from(counted.starts.max(1));
        let Some((peak, sigma, normal_run, n)) = self.baseline else {
            let root = ((rate / shape).sqrt() * 1000.0).min(f64::from(i16::MAX));
            self.learning.push((root as i16, (run_min * 10.0).min(f64::from(i16::MAX)) as i16));
            if self.learning.len() >= usize::from(config.baseline.days).min(MOST_DAYS) {
                self.freeze(config);
            }
            return false;
        };
        let expected = f64::from(peak).powi(2) * shape;
        if self.history.len() >= HISTORY {
            self.history.remove(0);
        }
        let hundredths = |v: f64| (v * 100.0).min(f64::from(u16::MAX)) as u16;
        self.history.push(Past {
            day,
            rate: hundredths(rate),
            expected: hundredths(expected),
            run_min: hundredths(run_min),
        });
        let design = config.chart.design(&config.baseline);
        let began = i64::from(day) * DAY_MS;
        self.chart.step(began, rate.sqrt() - expected.sqrt(), f64::from(sigma), u32::from(n), &design);
        let strength = self.chart.strength(&design);
        let recent: Vec<&Past> = self.history.iter().rev().take(3).collect();
        let mean = |of: fn(&Past) -> u16| {
            recent.iter().map(|p| f64::from(of(p))).sum::<f64>() / recent.len() as f64 / 100.0
        };
        let excess = mean(|p| p.rate) - mean(|p| p.expected);
        let shorter = 1.0 - mean(|p| p.run_min) / f64::from(normal_run);
        let subject = Subject { condition: Condition::ShortCycling, channel: None, at: now };
        if strength > 1.0 && excess >= c.least_excess && shorter >= c.run_drop {
            let onset = self.chart.onset(began);
            let sum = self.chart.sum();
            let mut stand = std::mem::take(&mut self.stand);
            stand.rise(subject, Standing::Open, onset, strength, out, || {
                let agree = u8::from(shorter >= c.run_drop);
                let sure = confidence(&config.chart, &design, sum, agree, 0);
                self.words(&counted, (rate, expected), (run_min, f64::from(normal_run)), sure, config)
            });
            self.stand = stand;
        } else if strength < config.chart.clear_share && excess < c.least_excess / 2.0 && self.fast_hours == 0
        {
            self.stand.calm(subject, config.chart.clear_days, out, || {
                "The compressor starts as often as its duty lets expect".to_owned()
            });
        } else {
            self.stand.unsure();
        }
        true
    }

    fn freeze(&mut self, config: &Config) {
        let learned = std::mem::take(&mut self.learning);
        let n = learned.len() as f64;
        let mut roots: Vec<f32> = learned.iter().map(|(r, _)| f32::from(*r) / 1000.0).collect();
        let mut runs: Vec<f32> = learned.iter().map(|(_, r)| f32::from(*r) / 10.0).collect();
        let (Some(root), Some(run)) = (median_f32(&mut roots), median_f32(&mut runs)) else {
            return;
        };
        let own = spread(&roots, root);
        let weight = config.baseline.fleet_weight;
        let sigma = ((n * own * own + weight * config.cycling.sigma.powi(2)) / (n + weight)).sqrt();
        self.baseline = Some((root as f32, sigma as f32, run as f32, n as u8));
    }

    /// For a repaired unit: what was learned starts anew, what was counted stays.
    pub(crate) fn serviced(&mut self) {
        *self = Self {
            total: self.total,
            counter: self.counter,
            events_seen: self.events_seen,
            started: self.started,
            ..Self::default()
        };
    }

    pub(crate) fn flagged(&self) -> bool {
        self.stand.flagged()
    }

    /// Days learned; `None` once the baseline is complete.
    pub(crate) fn learning(&self) -> Option<usize> {
        self.baseline.is_none().then_some(self.learning.len())
    }
}

/// How a run ended: index into `Counted::ends`.
fn end_of_run(o: &Observed, setup: &UnitSetup) -> usize {
    let near_cut_out = matches!((o.pd, setup.cut_out_kpa), (Some(pd), Some(cut)) if pd >= NEAR_CUT_OUT * cut);
    let low_suction = o.ps.is_some_and(|ps| ps < LOW_SUCTION_KPA);
    match o.moment.state.stage {
        _ if near_cut_out => 2,
        Stage::StoppedOnFault if low_suction => 1,
        Stage::StoppedOnFault => 3,
        _ if low_suction && o.set_point.zip(o.ret).is_some_and(|(sp, ret)| ret > sp + 1.0) => 1,
        _ => 0,
    }
}

/// Time after a defrost or a switch-on in which starts are not counted, ms.
pub(crate) fn grace_ms(config: &Config) -> i64 {
    (config.cycling.defrost_grace_min * MINUTE_MS as f64) as i64
}
