use rimeline_channels::{Drive, RunningMode, Stage, State};

/// The way a unit runs, as far as it decides what is normal. Baselines of different classes are never mixed.
#[derive(
    Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, serde::Serialize, serde::Deserialize,
)]
pub(crate) struct ModeClass(u8);

/// Bit of the class of part load.
const PART_LOAD: u8 = 1 << 7;
/// A set point under this is frozen goods, 0.1 Cel; between quick-frozen (-18 Cel) and chilled goods (about 0 Cel).
const FROZEN_BELOW: i32 = -100;

impl ModeClass {
    pub(crate) fn new(state: &State, set_point: Option<i32>) -> Self {
        let high = u8::from(state.stage == Stage::CoolingHigh);
        let goods = match set_point {
            None => 0,
            Some(fixed) if fixed < FROZEN_BELOW => 2,
            Some(_) => 1,
        };
        Self(state.drive as u8 | (state.running_mode as u8) << 2 | goods << 4 | high << 6)
    }

    /// The class with the speed left open.
    pub(crate) fn without_speed(self) -> Self {
        Self(self.0 & !(1 << 6))
    }

    /// The class of running with part of the capacity, at whatever speed.
    pub(crate) fn at_part_load(self) -> Self {
        Self(self.without_speed().0 | PART_LOAD)
    }

    pub(crate) fn is_part_load(self) -> bool {
        self.0 & PART_LOAD != 0
    }

    /// The class as a number, for keys.
    pub(crate) fn number(self) -> u8 {
        self.0
    }

    /// The class in words.
    pub(crate) fn words(self) -> String {
        let drive = match self.0 & 3 {
            d if d == Drive::Engine as u8 => "on the engine",
            d if d == Drive::Shore as u8 => "on shore power",
            _ => "drive not reported",
        };
        let mode = match self.0 >> 2 & 3 {
            m if m == RunningMode::Continuous as u8 => "continuous",
            m if m == RunningMode::StartStop as u8 => "start-stop",
            _ => "running mode not reported",
        };
        let goods = ["set point not reported", "chilled", "frozen"][usize::from(self.0 >> 4 & 3).min(2)];
        let speed = match (self.is_part_load(), self.0 >> 6 & 1) {
            (true, _) => "part load",
            (false, 1) => "high speed",
            _ => "low speed",
        };
        format!("{drive}, {speed}, {mode}, {goods}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_part_of_the_mode_makes_another_class() {
        let base = State { stage: Stage::CoolingHigh, ..State::default() };
        let all = [
            ModeClass::new(&base, None),
            ModeClass::new(&base, Some(20)),
            ModeClass::new(&base, Some(20)).at_part_load(),
            ModeClass::new(&base, Some(-200)),
            ModeClass::new(&State { stage: Stage::CoolingLow, ..base }, None),
            ModeClass::new(&State { drive: Drive::Shore, ..base }, None),
            ModeClass::new(&State { drive: Drive::Engine, ..base }, None),
            ModeClass::new(&State { running_mode: RunningMode::StartStop, ..base }, None),
            ModeClass::new(&State { running_mode: RunningMode::Continuous, ..base }, None),
        ];
        for (i, a) in all.iter().enumerate() {
            assert!(all[..i].iter().all(|b| a != b && a.words() != b.words()), "{}", a.words());
        }
    }
}
