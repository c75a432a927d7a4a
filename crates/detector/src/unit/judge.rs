//! What every test makes of a unit, in words.

use rimeline_channels::{Channel, RunningMode};

use super::UnitState;
use crate::conditions::discharge::Discharge;
use crate::conditions::out_of_range;
use crate::config::Config;
use crate::sensors::{self, SENSORS};
use crate::trend_test::TrendTest;
use crate::{Condition, Judgement, UnitSetup, Verdict};

type Said = (Verdict, String);

fn quiet(reason: impl Into<String>) -> Said {
    (Verdict::Quiet, reason.into())
}

fn abstains(reason: impl Into<String>) -> Said {
    (Verdict::Abstains, reason.into())
}

fn learning(n: usize, of: usize, what: &str) -> Said {
    (Verdict::Learning, format!("{n} of {of} {what} learned"))
}

const AIR: u64 = bit(Channel::ReturnAirControl)
    | bit(Channel::ReturnAirCheck)
    | bit(Channel::SupplyAirControl)
    | bit(Channel::SupplyAirCheck);
const RETURN: u64 = bit(Channel::ReturnAirControl) | bit(Channel::ReturnAirCheck);
const SUPPLY: u64 = bit(Channel::SupplyAirControl) | bit(Channel::SupplyAirCheck);
const PRESSURES: u64 = bit(Channel::DischargePressure) | bit(Channel::SuctionPressure);

const fn bit(channel: Channel) -> u64 {
    1 << (channel as u64 - 1)
}

impl UnitState {
    /// What every test makes of the unit now, in contract order.
    pub fn judgements(&self, setup: &UnitSetup, config: &Config) -> Vec<Judgement> {
        Condition::ALL
            .into_iter()
            .map(|condition| {
                let (verdict, reason) = self.judge(condition, setup, config);
                Judgement { condition, verdict, reason, able_to_decide: self.able.share(condition) }
            })
            .collect()
    }

    fn judge(&self, condition: Condition, setup: &UnitSetup, config: &Config) -> Said {
        let fitted = self.out_of_range.fitted(setup) & out_of_range::sensors();
        if self.regime.last().is_none() {
            return abstains("the unit has not reported yet");
        }
        if self.flagged(condition) {
            return (Verdict::Flagged, "the condition stands".to_owned());
        }
        match condition {
            Condition::Silent if self.silence.live() => quiet("it reports live"),
            Condition::Silent => abstains("the unit was not seen to report live; history is never silent"),
            _ if fitted == 0 => abstains("no sensor is known to be fitted yet"),
            Condition::SensorOutOfRange => {
                quiet(format!("{} fitted sensors are watched", fitted.count_ones()))
            }
            Condition::SensorStuck => stuck(fitted),
            Condition::SensorSpiking => {
                quiet(format!("{} sensors are watched for jumps", sensors::of_channels(fitted).count_ones()))
            }
            Condition::SensorNoisy => self.noisy_said(setup, config),
            Condition::TwinsDisagree => self.twins_said(fitted, config),
            Condition::PressureOffset => self.offset_said(fitted, config),
            Condition::WeakCooling => self.cooling_said(fitted, config),
            Condition::SlowPullDown => self.pull_down_said(fitted, config),
            Condition::ShortCycling => self.cycling_said(setup, config),
            Condition::RisingDischargePressure => self.discharge_said(fitted, setup, config),
        }
    }

    fn flagged(&self, condition: Condition) -> bool {
        match condition {
            Condition::SensorOutOfRange => self.out_of_range.suspect() != 0 || self.missing.flagged(),
            Condition::SensorStuck => self.stuck.suspect() != 0,
            Condition::SensorSpiking => self.spiking.flagged(),
            Condition::SensorNoisy => self.noisy.suspect() != 0,
            Condition::TwinsDisagree => self.twins.flagged(),
            Condition::PressureOffset => self.offset.flagged(),
            Condition::WeakCooling => self.weak_cooling.test.stand.flagged(),
            Condition::SlowPullDown => self.pull_down.flagged(),
            Condition::ShortCycling => self.cycling.flagged(),
            Condition::RisingDischargePressure => self.discharge.test.stand.flagged(),
            Condition::Silent => self.silence.flagged(),
        }
    }

    /// Channels with a finding against them.
    fn suspect(&self, config: &Config) -> u64 {
        self.out_of_range.suspect()
            | self.noisy.suspect()
            | self.stuck.suspect()
            | self.twins.suspect(config)
            | self.offset.suspect()
    }

    fn noisy_said(&self, setup: &UnitSetup, config: &Config) -> Said {
        let cadence = self.regime.cadence_s(setup.cadence_s) / 60.0;
        if cadence > config.noise.longest_cadence_min {
            return abstains(format!(
                "at a reading every {cadence:.0} min noise and real movement cannot be told apart"
            ));
        }
        match self.noisy.learned() {
            n if n < config.noise.days => learning(n.into(), config.noise.days.into(), "days"),
            _ => quiet("every watched sensor is as calm as it was"),
        }
    }

    fn twins_said(&self, fitted: u64, config: &Config) -> Said {
        let pair = |mask: u64| fitted & mask == mask;
        if !pair(RETURN) && !pair(SUPPLY) {
            return abstains("no air stream has two fitted sensors");
        }
        match self.twins.learned() {
            (_, true) => quiet("the two sensors agree as they used to"),
            (n, false) => learning(n, config.baseline.days.into(), "days of steady running"),
        }
    }

    fn offset_said(&self, fitted: u64, config: &Config) -> Said {
        if fitted & PRESSURES != PRESSURES {
            return abstains("discharge and suction pressure are not both fitted");
        }
        match self.offset.learning() {
            Some(n) => learning(n, config.offset.soaks.into(), "off periods long enough to equalise"),
            None => quiet("the pressures equalise as they used to"),
        }
    }

    fn cooling_said(&self, fitted: u64, config: &Config) -> Said {
        if fitted & RETURN == 0 || fitted & SUPPLY == 0 {
            return abstains("return and supply air are not both fitted");
        }
        let suspect = self.suspect(config);
        if believed(fitted, suspect, RETURN) == 0 || believed(fitted, suspect, SUPPLY) == 0 {
            return abstains("an air sensor it needs is suspect");
        }
        trend_said(&self.weak_cooling.test, config, "days of full cooling")
    }

    fn pull_down_said(&self, fitted: u64, config: &Config) -> Said {
        if fitted & RETURN == 0 {
            return abstains("return air is not fitted");
        }
        if believed(fitted, self.suspect(config), RETURN) == 0 {
            return abstains("the return air sensor is suspect");
        }
        match self.pull_down.learning() {
            Some(n) => learning(n.into(), config.pull_down.episodes.into(), "pull-downs"),
            None => quiet(self.pull_down.said(config)),
        }
    }

    fn cycling_said(&self, setup: &UnitSetup, config: &Config) -> Said {
        let cadence = self.regime.cadence_s(setup.cadence_s) / 60.0;
        if let Some(why) = self.cycling.blind(cadence, config) {
            return abstains(why);
        }
        match self.cycling.learning() {
            Some(0) if self.regime.running_mode() != RunningMode::StartStop => {
                abstains("the unit does not run in start-stop mode")
            }
            Some(n) => learning(n, config.baseline.days.into(), "days in start-stop mode"),
            None => quiet(self.cycling.said(config)),
        }
    }

    fn discharge_said(&self, fitted: u64, setup: &UnitSetup, config: &Config) -> Said {
        if !Discharge::channel_fitted(fitted) {
            return abstains("discharge pressure is not fitted");
        }
        if fitted & Channel::AmbientAir.bit() == 0 {
            return abstains("ambient air is not fitted");
        }
        if setup.refrigerant.is_none() || setup.pressure_reference.is_none() {
            return abstains("refrigerant or pressure reference is not stated");
        }
        let needed = Channel::DischargePressure.bit() | Channel::AmbientAir.bit();
        if self.suspect(config) & needed != 0 {
            return abstains("discharge pressure or ambient air is suspect");
        }
        trend_said(&self.discharge.test, config, "days of steady full cooling")
    }
}

fn believed(fitted: u64, suspect: u64, of: u64) -> u64 {
    fitted & of & !suspect
}

fn stuck(fitted: u64) -> Said {
    let followers = AIR | bit(Channel::Coil) | PRESSURES;
    let alone: Vec<_> = SENSORS
        .into_iter()
        .filter(|c| {
            fitted & c.bit() != 0 && (followers & c.bit() == 0 || (fitted & followers).count_ones() < 2)
        })
        .map(Channel::name)
        .collect();
    if (fitted & followers).count_ones() < 2 {
        return abstains("it has no neighbours to compare with: flat alone is never stuck");
    }
    if alone.is_empty() {
        return quiet("every watched sensor follows its neighbours");
    }
    quiet(format!("sensors with neighbours follow them; no neighbours to compare with: {}", alone.join(", ")))
}

fn trend_said(test: &TrendTest, config: &Config, what: &str) -> Said {
    if let Some((n, class)) = test.learning() {
        let (verdict, mut reason) = learning(n.into(), config.baseline.days.into(), what);
        if let Some(class) = class {
            reason = format!("{reason} ({})", class.words());
        }
        return (verdict, reason);
    }
    let strength = test.chart.strength(&TrendTest::design(config));
    quiet(format!("at {:.0} % of its limit after {} judged days", 100.0 * strength, test.judged_days()))
}
