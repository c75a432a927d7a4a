//! Discharge and suction pressure after the circuit equalised: they should be one pressure.

use rimeline_channels::{Channel, UnixMs};
use serde::{Deserialize, Serialize};

use crate::chart::{TwoSided, confidence_of_episodes};
use crate::config::Config;
use crate::evidence::Because;
use crate::observed::Observed;
use crate::physics;
use crate::reduce::{median_f32, spread};
use crate::stand::{Stand, Subject, Words};
use crate::stats::CusumDesign;
use crate::{Condition, Output, Standing, UnitSetup};

/// Off periods kept for drawing.
const HISTORY: usize = 10;
/// Off periods of a baseline at most.
const MOST_SOAKS: usize = 20;
/// Coil and ambient this near tell what an equalised pressure should be, K.
const ONE_TEMPERATURE_K: f64 = 5.0;
/// The transducer further off by this says which of the two it is, K of saturation temperature.
const CLEARLY_K: f64 = 3.0;

/// State kept per unit.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct PressureOffset {
    /// Difference at the last sample of this off period, and whether the period was taken in already.
    last: Option<f32>,
    taken: bool,
    learning: Vec<i16>,
    /// Difference, spread and off periods of the baseline.
    baseline: Option<(f32, f32, u8)>,
    chart: TwoSided,
    history: Vec<(u16, i16)>,
    /// The channel of the open finding, decided once.
    channel: Option<Channel>,
    stand: Stand,
}

impl PressureOffset {
    /// Returns true where an off period was judged.
    pub(crate) fn observe(
        &mut self,
        o: &Observed,
        setup: &UnitSetup,
        config: &Config,
        out: &mut Output,
    ) -> bool {
        let m = &o.moment;
        let c = &config.offset;
        let Some(still) = m.still_min.filter(|_| m.dt.is_some()) else {
            if m.still_min.is_none() {
                (self.last, self.taken) = (None, false);
            }
            return false;
        };
        let Some((pd, ps)) = o.pd.zip(o.ps).filter(|_| !self.taken && still >= c.off_min) else {
            return false;
        };
        let difference = (pd - ps) as f32;
        let minutes = m.dt.map_or(1.0, crate::regime::minutes).max(0.5);
        let settled = self
            .last
            .is_some_and(|last| f64::from((difference - last).abs()) / minutes <= c.settled_kpa_per_min);
        self.last = Some(difference);
        if !settled {
            return false;
        }
        self.taken = true;
        self.soak(o, f64::from(difference), setup, config, out)
    }

    fn soak(
        &mut self,
        o: &Observed,
        difference: f64,
        setup: &UnitSetup,
        config: &Config,
        out: &mut Output,
    ) -> bool {
        let c = &config.offset;
        let at = o.moment.at;
        let fixed = difference.round() as i16;
        let Some((normal, sigma, n)) = self.baseline else {
            self.learning.push(fixed);
            if self.learning.len() >= usize::from(c.soaks).min(MOST_SOAKS) {
                self.freeze(config);
            }
            return false;
        };
        if self.history.len() >= HISTORY {
            self.history.remove(0);
        }
        self.history.push((crate::evidence::day_of(at), fixed));
        let change = difference - f64::from(normal);
        let design = design(config);
        self.chart.step(at, change, f64::from(sigma), u32::from(n), &design);
        let level = self.chart.level();
        let chart = self.chart.stronger();
        let one_side = chart.level() > 0.0;
        let (strength, sum, onset) = (chart.strength(&design), chart.sum(), chart.onset(at));
        let subject = |channel| Subject { condition: Condition::PressureOffset, channel, at };
        if strength > 1.0 && one_side && level.abs() >= c.least_kpa {
            if !self.stand.stands() {
                self.channel = which(o, setup);
            }
            let channel = self.channel;
            let mut stand = std::mem::take(&mut self.stand);
            stand.rise(subject(channel), Standing::Open, onset, strength, out, || {
                let sure = confidence_of_episodes(&config.chart, &design, sum, u8::from(channel.is_some()));
                self.words(difference, f64::from(normal), sure, config)
            });
            self.stand = stand;
        } else if strength < config.chart.clear_share && level.abs() < c.least_kpa / 2.0 {
            self.stand.calm(subject(self.channel), config.chart.clear_days, out, || {
                "The two pressures equalise again".to_owned()
            });
        } else {
            self.stand.unsure();
        }
        true
    }

    fn freeze(&mut self, config: &Config) {
        let mut values: Vec<f32> = std::mem::take(&mut self.learning).into_iter().map(f32::from).collect();
        let n = values.len() as f64;
        let Some(level) = median_f32(&mut values) else {
            return;
        };
        let own = spread(&values, level);
        let weight = config.baseline.fleet_weight;
        let sigma = ((n * own * own + weight * config.offset.sigma_kpa.powi(2)) / (n + weight)).sqrt();
        self.baseline = Some((level as f32, sigma as f32, n as u8));
    }

    /// Channels that are not to be believed.
    pub(crate) fn suspect(&self) -> u64 {
        match self.channel {
            _ if !self.stand.flagged() => 0,
            Some(channel) => channel.bit(),
            None => Channel::DischargePressure.bit() | Channel::SuctionPressure.bit(),
        }
    }

    pub(crate) fn flagged(&self) -> bool {
        self.stand.flagged()
    }

    /// Off periods learned; `None` once the baseline is complete.
    pub(crate) fn learning(&self) -> Option<usize> {
        self.baseline.is_none().then_some(self.learning.len())
    }

    fn words(&self, difference: f64, normal: f64, confidence: f64, config: &Config) -> Words {
        let mut because = Because::default();
        because.say(format!(
            "With the unit off and the circuit equalised, discharge reads {difference:+.0} kPa against suction; it \
             used to be {normal:+.0} kPa."
        ));
        let name = match self.channel {
            Some(Channel::SuctionPressure) => "suction pressure transducer",
            Some(_) => "discharge pressure transducer",
            None => "discharge or suction pressure transducer",
        };
        match self.channel {
            Some(_) => because.say(format!(
                "Coil and ambient stood at one temperature; against the saturation pressure there the {name} is the \
                 one that is off."
            )),
            None => because.left_out("which of the two is off could not be told".to_owned()),
        }
        because.daily(
            "discharge less suction, equalised",
            "kPa",
            self.history.iter().map(|(d, v)| (*d, f64::from(*v))),
        );
        because.limit("baseline", normal);
        because.limit("a case from", normal + config.offset.least_kpa.copysign(self.chart.level()));
        Words {
            headline: format!("The {name} is off by {:.0} kPa", self.chart.level().abs()),
            confidence,
            hours_to_harm: None,
            evidence: because.done(),
        }
    }
}

fn design(config: &Config) -> CusumDesign {
    CusumDesign::new(config.offset.k, config.offset.h)
        .with_guard(config.baseline.guard)
        .with_clip(config.chart.clip)
}

/// Which transducer is off, told by the saturation pressure at the one temperature of coil and ambient.
fn which(o: &Observed, setup: &UnitSetup) -> Option<Channel> {
    let (coil, ambient) = o.coil.or(o.ret).zip(o.ambient)?;
    if (coil - ambient).abs() > ONE_TEMPERATURE_K {
        return None;
    }
    let at = f64::midpoint(coil, ambient);
    let off = |kpa: f64| physics::condensing(setup, kpa).map(|t| (t - at).abs());
    let (discharge, suction) = (off(o.pd?)?, off(o.ps?)?);
    if (discharge - suction).abs() < CLEARLY_K {
        return None;
    }
    Some(if discharge > suction { Channel::DischargePressure } else { Channel::SuctionPressure })
}

/// For a repaired transducer: what was learned starts anew.
pub(crate) fn serviced(state: &mut PressureOffset, _at: UnixMs) {
    *state = PressureOffset::default();
}
