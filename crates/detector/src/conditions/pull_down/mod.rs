//! Time to the set point.
//!
//! Two ways: a pull-down takes longer than this unit's pull-downs did, finished or not; and a long run at full
//! cooling makes no progress towards its set point.

mod episode;
mod long_run;

use rimeline_channels::UnixMs;
use serde::{Deserialize, Serialize};

use crate::Output;
use crate::chart::Chart;
use crate::config::Config;
use crate::evidence::Because;
use crate::normal::Normal;
use crate::observed::Observed;
use crate::regime::{Masks, minutes};
use crate::stand::Stand;
use episode::Episode;
use long_run::LongRun;

/// A cooling index within this share of its baseline is normal.
const INDEX_NORMAL: f64 = 0.06;

/// State kept per unit.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct PullDown {
    episode: Option<Episode>,
    long_run: LongRun,
    normal: Normal,
    chart: Chart,
    /// Day, minutes taken and minutes expected of the last pull-downs.
    history: Vec<(u16, u16, u16)>,
    /// The condition stands because of a long run.
    by_long_run: bool,
    satisfied: u8,
    stand: Stand,
}

impl PullDown {
    /// Minutes since the pull-down under way began.
    pub(crate) fn running_min(&self, at: UnixMs) -> Option<f64> {
        self.episode.as_ref().map(|e| minutes(at - e.began()))
    }

    /// `weaker`: smoothed loss of the capacity index, where it is known. Returns true where it could judge.
    pub(crate) fn observe(
        &mut self,
        o: &Observed,
        weaker: Option<f64>,
        config: &Config,
        out: &mut Output,
    ) -> bool {
        let Some((ret, set_point)) = o.ret.zip(o.set_point) else {
            self.episode = None;
            return false;
        };
        self.follow_episode(o, ret, set_point, weaker, config, out);
        self.follow_run(o, ret, set_point, weaker, config, out);
        !o.moment.masks.any(Masks::OFF.or(Masks::NO_STATE))
    }

    pub(crate) fn flagged(&self) -> bool {
        self.stand.flagged()
    }

    /// Pull-downs learned; `None` once a baseline is complete.
    pub(crate) fn learning(&self) -> Option<u8> {
        self.normal.learning().map(|(n, _)| n)
    }

    /// A person repaired the unit: what was learned starts anew.
    pub(crate) fn serviced(&mut self) {
        *self = Self::default();
    }
}

fn add_capacity(weaker: Option<f64>, because: &mut Because) {
    match weaker {
        Some(loss) if loss > 0.08 => {
            because.say(format!(
                "Its cooling index is down by {:.0} % as well: the unit, not the load.",
                100.0 * loss
            ));
        }
        Some(loss) if loss < -0.08 => because.say(format!(
            "The air difference at full cooling is up by {:.0} %: too little air over the coil, as with ice or a fan.",
            -100.0 * loss
        )),
        Some(_) => because.say(
            "Its cooling index is near normal: look at load, door, seals and insulation first.".to_owned(),
        ),
        None => because
            .left_out("the cooling index has no baseline yet: load and unit cannot be told apart".to_owned()),
    }
}
