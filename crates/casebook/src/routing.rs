//! Which desk a case is for, and how much it presses. Starting values of ours, to be tuned on confirmed cases.

use rimeline_channels::Channel;
use rimeline_detector::Condition;

use crate::{CargoClass, Desk, Priority};

/// What routing looks at.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Pressing {
    pub(crate) condition: Condition,
    pub(crate) channel: Option<Channel>,
    /// Past the condition's own act-now level.
    pub(crate) act_now: bool,
    pub(crate) hours_to_harm: Option<f64>,
    /// Early end of the forecast, days.
    pub(crate) days_to_limit: Option<f64>,
    pub(crate) cargo: CargoClass,
}

impl Pressing {
    /// The night desk gets what can harm a load before the day shift looks; everything else waits for the weekly
    /// list. A unit of which nobody said what it carries is taken as loaded where the condition is past its act-now
    /// level, and as not loaded otherwise.
    pub(crate) fn desk(self) -> Desk {
        let may_be_loaded = self.cargo != CargoClass::Empty;
        let loaded = may_be_loaded && self.cargo != CargoClass::Unknown;
        let harm_is_near = may_be_loaded && self.hours_to_harm.is_some_and(|hours| hours <= NIGHT_WITHIN_H);
        let night = match self.condition {
            // A unit that controls by a broken sensor cools by chance.
            Condition::SensorOutOfRange | Condition::SensorStuck => loaded && controls(self.channel),
            Condition::WeakCooling | Condition::SlowPullDown | Condition::RisingDischargePressure => {
                may_be_loaded && self.act_now
            }
            Condition::Silent => loaded,
            Condition::ShortCycling
            | Condition::SensorSpiking
            | Condition::SensorNoisy
            | Condition::TwinsDisagree
            | Condition::PressureOffset => false,
        };
        if night || harm_is_near { Desk::Night } else { Desk::Weekly }
    }

    /// Low for the weekly list, medium for the night desk or where a limit is days away, high where harm is hours
    /// away; one more where the condition is past its act-now level.
    pub(crate) fn priority(self) -> Priority {
        let near = self.hours_to_harm.is_some_and(|hours| hours <= high_within_h(self.cargo));
        let limit_near = self.days_to_limit.is_some_and(|days| days <= MEDIUM_WITHIN_DAYS);
        let base = if near {
            Priority::High
        } else if self.desk() == Desk::Night || limit_near {
            Priority::Medium
        } else {
            Priority::Low
        };
        match (base, self.act_now) {
            (Priority::Low, true) => Priority::Medium,
            (Priority::Medium, true) => Priority::High,
            _ => base,
        }
    }
}

/// Harm nearer than a night and the morning after is the night desk's.
const NIGHT_WITHIN_H: f64 = 12.0;
/// A limit reached within days does not wait for a routine visit.
const MEDIUM_WITHIN_DAYS: f64 = 7.0;

/// Harm nearer than this presses most, h.
fn high_within_h(cargo: CargoClass) -> f64 {
    match cargo {
        CargoClass::Pharma => 8.0,
        CargoClass::Chilled | CargoClass::FreshProduce | CargoClass::Frozen | CargoClass::Unknown => 4.0,
        // A unit that stops with nothing in it harms nothing.
        CargoClass::Empty => -1.0,
    }
}

fn controls(channel: Option<Channel>) -> bool {
    matches!(channel, Some(Channel::ReturnAirControl | Channel::SupplyAirControl))
}

/// What a class weighs in the ranking: pharma, then chilled and fresh, then frozen, then empty.
pub(crate) fn cargo_weight(cargo: CargoClass) -> f64 {
    match cargo {
        CargoClass::Pharma => 4.0,
        CargoClass::Chilled | CargoClass::FreshProduce | CargoClass::Unknown => 3.0,
        CargoClass::Frozen => 2.0,
        CargoClass::Empty => 1.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pressing(condition: Condition, cargo: CargoClass) -> Pressing {
        Pressing { condition, channel: None, act_now: false, hours_to_harm: None, days_to_limit: None, cargo }
    }

    #[test]
    fn trends_wait_for_the_weekly_list_and_act_now_levels_with_a_load_do_not() {
        for condition in [Condition::WeakCooling, Condition::SlowPullDown, Condition::RisingDischargePressure]
        {
            let trend = pressing(condition, CargoClass::Chilled);
            assert_eq!((trend.desk(), trend.priority()), (Desk::Weekly, Priority::Low), "{condition}");
            let step = Pressing { act_now: true, ..trend };
            assert_eq!((step.desk(), step.priority()), (Desk::Night, Priority::High), "{condition}");
            let unsaid = Pressing { cargo: CargoClass::Unknown, ..step };
            assert_eq!(unsaid.desk(), Desk::Night, "{condition}: in doubt there is a load");
            let empty = Pressing { cargo: CargoClass::Empty, ..step };
            assert_eq!((empty.desk(), empty.priority()), (Desk::Weekly, Priority::Medium), "{condition}");
        }
    }

    #[test]
    fn a_broken_sensor_goes_to_the_night_desk_only_where_a_loaded_unit_controls_by_it() {
        let probe = Pressing {
            channel: Some(Channel::CargoProbe1),
            ..pressing(Condition::SensorOutOfRange, CargoClass::Frozen)
        };
        assert_eq!(probe.desk(), Desk::Weekly);
        let control = Pressing { channel: Some(Channel::ReturnAirControl), ..probe };
        assert_eq!((control.desk(), control.priority()), (Desk::Night, Priority::Medium));
        assert_eq!(Pressing { cargo: CargoClass::Unknown, ..control }.desk(), Desk::Weekly);
    }

    #[test]
    fn harm_within_hours_presses_most_and_sooner_for_pharma() {
        let soon =
            Pressing { hours_to_harm: Some(6.0), ..pressing(Condition::SlowPullDown, CargoClass::Chilled) };
        assert_eq!((soon.desk(), soon.priority()), (Desk::Night, Priority::Medium));
        assert_eq!(Pressing { cargo: CargoClass::Pharma, ..soon }.priority(), Priority::High);
        assert_eq!(Pressing { hours_to_harm: Some(2.0), ..soon }.priority(), Priority::High);
        let empty = Pressing { cargo: CargoClass::Empty, hours_to_harm: Some(2.0), ..soon };
        assert_eq!((empty.desk(), empty.priority()), (Desk::Weekly, Priority::Low));
    }

    #[test]
    fn a_limit_that_is_days_away_does_not_wait_for_a_routine_visit() {
        let far = Pressing {
            days_to_limit: Some(30.0),
            ..pressing(Condition::RisingDischargePressure, CargoClass::Chilled)
        };
        assert_eq!(far.priority(), Priority::Low);
        assert_eq!(Pressing { days_to_limit: Some(5.0), ..far }.priority(), Priority::Medium);
    }
}
