//! Two sensors of one air stream that drifted apart.

use rimeline_channels::{Channel, HOUR_MS, UnixMs};
use serde::{Deserialize, Serialize};

use crate::chart::{TwoSided, confidence};
use crate::config::Config;
use crate::evidence::Because;
use crate::observed::{Observed, RETURN, SUPPLY};
use crate::reduce::{Median, median_f32, spread};
use crate::regime::Masks;
use crate::sensors::{self, Frame, Past, WATCHED, index};
use crate::stand::{Stand, Subject, Words};
use crate::{Condition, Output, Standing};

/// Days kept for drawing.
const HISTORY: usize = 14;
/// A stretch of steady running that is judged at once, ms.
const STRETCH_MS: i64 = HOUR_MS;
/// Samples that a stretch and a day need.
const LEAST_SAMPLES: u32 = 3;

/// One pair.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
struct Pair {
    day: Median,
    stretch: Median,
    stretch_began: UnixMs,
    /// Stretches in a row beyond the act level, to one side.
    beyond: u8,
    beyond_since: UnixMs,
    /// Daily differences in hundredths of K while learning.
    learning: Vec<i16>,
    /// Difference, spread and days of the frozen baseline.
    baseline: Option<(f32, f32, u8)>,
    chart: TwoSided,
    history: Vec<(u16, i16)>,
    stand: Stand,
}

/// State kept per unit: return air, then supply air.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Twins {
    pairs: [Pair; 2],
}

const STREAMS: [(usize, [Channel; 2], &str); 2] =
    [(index::RETURN_CONTROL, RETURN, "return air"), (index::SUPPLY_CONTROL, SUPPLY, "supply air")];

/// What keeps a sample out.
const MASKS: Masks =
    Masks::OFF.or(Masks::START_UP).or(Masks::DEFROST).or(Masks::DOOR).or(Masks::DOOR_GUESS).or(Masks::GAP);

impl Twins {
    /// Takes in a reading. `other_findings`: channels that are suspect for another reason.
    pub(crate) fn observe(
        &mut self,
        o: &Observed,
        frame: &Frame,
        other_findings: u64,
        config: &Config,
        out: &mut Output,
    ) {
        let m = &o.moment;
        let fit = m.running == Some(true) && !m.masks.any(MASKS) && m.calm.settled;
        for (pair, (first, channels, _)) in self.pairs.iter_mut().zip(STREAMS) {
            let both = frame.quantity(first).zip(frame.quantity(first + 1));
            let Some((a, b)) = both.filter(|_| fit && channels.iter().all(|c| other_findings & c.bit() == 0))
            else {
                continue;
            };
            pair.day.push(a - b);
            if pair.stretch.seen() == 0 || m.at - pair.stretch_began >= 2 * STRETCH_MS {
                pair.stretch.clear();
                pair.stretch_began = m.at;
            }
            pair.stretch.push(a - b);
            if m.at - pair.stretch_began >= STRETCH_MS && pair.stretch.seen() >= LEAST_SAMPLES {
                pair.close_stretch(m.at, channels, config, out);
            }
        }
    }

    /// A day is over. Returns how many pairs could be judged.
    pub(crate) fn close_day(
        &mut self,
        day: u16,
        now: UnixMs,
        pasts: &[Past; WATCHED],
        config: &Config,
        out: &mut Output,
    ) -> usize {
        let mut judged = 0;
        for (pair, (first, channels, name)) in self.pairs.iter_mut().zip(STREAMS) {
            // A difference cannot be known better than the coarser of the two sensors shows it.
            let coarse = pasts[first].quantum().max(pasts[first + 1].quantum());
            let least_k = config.twins.drift_k.max(1.2 * sensors::quantity(first, coarse));
            let value = pair.day.get().filter(|_| pair.day.seen() >= LEAST_SAMPLES);
            pair.day.clear();
            if let Some(value) = value {
                judged +=
                    usize::from(pair.close_day(day, value, now, (channels, name, least_k), config, out));
            }
        }
        judged
    }

    /// Channels of pairs that disagree so far that neither is to be believed.
    pub(crate) fn suspect(&self, config: &Config) -> u64 {
        let disputed = |p: &Pair| p.stand.flagged() && p.chart.level().abs() >= config.twins.disagree_k;
        self.pairs
            .iter()
            .zip(STREAMS)
            .filter(|(p, _)| disputed(p))
            .fold(0, |m, (_, (_, channels, _))| m | channels[0].bit() | channels[1].bit())
    }

    pub(crate) fn flagged(&self) -> bool {
        self.pairs.iter().any(|p| p.stand.flagged())
    }

    /// Days learned by the pair that has learned most, and whether one has a baseline.
    pub(crate) fn learned(&self) -> (usize, bool) {
        let most = self.pairs.iter().map(|p| p.learning.len()).max().unwrap_or(0);
        (most, self.pairs.iter().any(|p| p.baseline.is_some()))
    }

    pub(crate) fn serviced(&mut self, channel: Option<Channel>) {
        for (pair, (_, channels, _)) in self.pairs.iter_mut().zip(STREAMS) {
            if channel.is_none_or(|c| channels.contains(&c)) {
                *pair = Pair::default();
            }
        }
    }
}

impl Pair {
    fn close_stretch(&mut self, at: UnixMs, channels: [Channel; 2], config: &Config, out: &mut Output) {
        let value = self.stretch.get();
        let began = self.stretch_began;
        self.stretch.clear();
        let (Some(value), Some((normal, _, _))) = (value, self.baseline) else {
            return;
        };
        let change = value - f64::from(normal);
        if change.abs() < config.twins.act_k {
            self.beyond = 0;
            return;
        }
        if self.beyond == 0 {
            self.beyond_since = began;
        }
        self.beyond = self.beyond.saturating_add(1);
        if self.beyond >= config.twins.stretches {
            self.chart.set_level(change);
            let subject = Subject { condition: Condition::TwinsDisagree, channel: Some(channels[0]), at };
            let name = if channels == RETURN { "return air" } else { "supply air" };
            let strength = change.abs() / config.twins.act_k;
            let onset = self.beyond_since;
            let mut stand = std::mem::take(&mut self.stand);
            stand.rise(subject, Standing::Escalated, onset, strength, out, || {
                self.words(name, (value, f64::from(normal)), 0.9, config)
            });
            self.stand = stand;
        }
    }

    fn close_day(
        &mut self,
        day: u16,
        value: f64,
        now: UnixMs,
        (channels, name, least_k): ([Channel; 2], &str, f64),
        config: &Config,
        out: &mut Output,
    ) -> bool {
        let fixed = (value * 100.0).round().clamp(f64::from(i16::MIN), f64::from(i16::MAX)) as i16;
        let Some((normal, sigma, n)) = self.baseline else {
            self.learning.push(fixed);
            if self.learning.len() >= usize::from(config.baseline.days) {
                self.freeze(config);
            }
            return false;
        };
        if self.history.len() >= HISTORY {
            self.history.remove(0);
        }
        self.history.push((day, fixed));
        let change = value - f64::from(normal);
        let design = config.chart.design(&config.baseline);
        let began = i64::from(day) * rimeline_channels::DAY_MS;
        self.chart.step(began, change, f64::from(sigma), u32::from(n), &design);
        let level = self.chart.level();
        let chart = self.chart.stronger();
        let to_this_side = chart.level() > 0.0;
        let (strength, sum, onset) = (chart.strength(&design), chart.sum(), chart.onset(began));
        let subject = Subject { condition: Condition::TwinsDisagree, channel: Some(channels[0]), at: now };
        let c = &config.twins;
        if strength > 1.0 && to_this_side && level.abs() >= least_k {
            let to = if level.abs() >= c.act_k { Standing::Escalated } else { Standing::Open };
            let mut stand = std::mem::take(&mut self.stand);
            stand.rise(subject, to, onset, strength, out, || {
                let sure = confidence(&config.chart, &design, sum, 1, 0);
                self.words(name, (value, f64::from(normal)), sure, config)
            });
            self.stand = stand;
        } else if strength < config.chart.clear_share && level.abs() < least_k / 2.0 {
            self.stand.calm(subject, config.chart.clear_days, out, || {
                format!("The two {name} sensors agree again")
            });
        } else {
            self.stand.unsure();
        }
        true
    }

    fn freeze(&mut self, config: &Config) {
        let mut days: Vec<f32> = self.learning.drain(..).map(|v| f32::from(v) / 100.0).collect();
        self.learning = Vec::new();
        let n = days.len() as f64;
        let Some(level) = median_f32(&mut days) else {
            return;
        };
        let own = spread(&days, level);
        let weight = config.baseline.fleet_weight;
        let sigma = ((n * own * own + weight * config.twins.sigma_k.powi(2)) / (n + weight)).sqrt();
        self.baseline = Some((level as f32, sigma as f32, n as u8));
    }

    fn words(&self, name: &str, (value, normal): (f64, f64), confidence: f64, config: &Config) -> Words {
        let change = self.chart.level();
        let mut because = Because::default();
        because.say(format!(
            "While the unit runs steadily the control sensor of the {name} reads {value:+.1} K against the check \
             sensor; it used to be {normal:+.1} K."
        ));
        because.say(
            "Which of the two is wrong cannot be told from these readings: compare both with a reference."
                .to_owned(),
        );
        if change.abs() < 2.0 {
            because.say(
                "Two good sensors may differ by up to 2 K: this is no statement about compliance.".to_owned(),
            );
        }
        because.daily(
            &format!("difference of the two {name} sensors"),
            "K",
            self.history.iter().map(|(d, v)| (*d, f64::from(*v) / 100.0)),
        );
        because.limit("baseline", normal);
        because.limit("drift from", normal + config.twins.drift_k.copysign(change));
        because.limit("disagreement from", normal + config.twins.disagree_k.copysign(change));
        let verb = if change.abs() >= config.twins.disagree_k { "disagree" } else { "drift apart" };
        Words {
            headline: format!("The two {name} sensors {verb}: changed by {:.1} K", change.abs()),
            confidence,
            hours_to_harm: None,
            evidence: because.done(),
        }
    }
}
