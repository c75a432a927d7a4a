use serde::{Deserialize, Serialize};

/// A state name or number that is not in the vocabulary.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{value}` is no {kind}; one of: {known}")]
pub struct UnknownState {
    /// What was given.
    pub value: String,
    /// Which part of the state.
    pub kind: &'static str,
    /// The words that are known.
    pub known: String,
}

macro_rules! state_part {
    ($(#[$meta:meta])* $name:ident $kind:literal { $($number:literal $variant:ident $word:literal $doc:literal,)* }) => {
        $(#[$meta])*
        #[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
        #[serde(rename_all = "snake_case")]
        #[repr(u8)]
        pub enum $name {
            /// Not known.
            #[default]
            Unknown = 0,
            $(#[doc = $doc] $variant = $number,)*
        }

        impl $name {
            /// Every known part, in contract order, without `Unknown`.
            pub const ALL: &'static [Self] = &[$(Self::$variant,)*];

            /// The part with this number in the public contract; 0 is `Unknown`.
            pub fn from_number(number: i32) -> Result<Self, UnknownState> {
                match number {
                    0 => Ok(Self::Unknown),
                    $($number => Ok(Self::$variant),)*
                    _ => Err(Self::unknown(number.to_string())),
                }
            }

            /// The part with this word.
            pub fn from_name(name: &str) -> Result<Self, UnknownState> {
                match name {
                    "unknown" => Ok(Self::Unknown),
                    $($word => Ok(Self::$variant),)*
                    _ => Err(Self::unknown(name.to_owned())),
                }
            }

            /// The word used in files and on screens.
            pub fn name(self) -> &'static str {
                match self { Self::Unknown => "unknown", $(Self::$variant => $word,)* }
            }

            fn unknown(value: String) -> UnknownState {
                let known: Vec<_> = Self::ALL.iter().map(|v| v.name()).collect();
                UnknownState { value, kind: $kind, known: known.join(", ") }
            }
        }
    };
}

state_part! {
    /// Whether the unit is switched on.
    Power "power" { 1 Off "off" "Switched off.", 2 On "on" "Switched on.", }
}
state_part! {
    /// What turns the compressor.
    Drive "drive" { 1 Engine "engine" "The engine.", 2 Shore "shore" "A motor on shore power.", }
}
state_part! {
    /// How the unit holds its set point.
    RunningMode "running mode" {
        1 Continuous "continuous" "Always runs, and modulates.",
        2 StartStop "start_stop" "Stops when satisfied.",
    }
}
state_part! {
    /// What the unit is doing.
    Stage "stage" {
        1 Starting "starting" "Coming up after a start.",
        2 CoolingLow "cooling_low" "Cooling at low speed.",
        3 CoolingHigh "cooling_high" "Cooling at high speed.",
        4 Satisfied "satisfied" "At its set point.",
        5 Heating "heating" "Heating.",
        6 Defrosting "defrosting" "Melting frost off the coil.",
        7 SelfTest "self_test" "Testing itself.",
        8 StoppedOnFault "stopped_on_fault" "Stopped by its own protection.",
    }
}
state_part! {
    /// The cargo door.
    Door "door" { 1 Closed "closed" "Closed.", 2 Open "open" "Open.", }
}
state_part! {
    /// The compressor.
    Compressor "compressor" { 1 Stopped "stopped" "Not turning.", 2 Running "running" "Turning.", }
}
state_part! {
    /// What started a defrost.
    DefrostOrigin "defrost origin" {
        1 Timer "timer" "The timer.", 2 Demand "demand" "Frost that was measured.", 3 Manual "manual" "A person.",
    }
}
state_part! {
    /// What ended a defrost.
    DefrostEnd "defrost end" {
        1 CoilTemperature "coil_temperature" "The coil was warm.",
        2 TimeLimit "time_limit" "The time limit.",
        3 SwitchedOff "switched_off" "The unit was switched off.",
        4 Fault "fault" "A fault.",
    }
}

/// The state of a unit at one moment.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(default)]
pub struct State {
    /// Switched on or off.
    pub power: Power,
    /// Engine or shore power.
    pub drive: Drive,
    /// Continuous or start-stop.
    pub running_mode: RunningMode,
    /// What it is doing.
    pub stage: Stage,
    /// Cargo door.
    pub door: Door,
    /// Compressor as reported; see [`State::compressor_running`].
    pub compressor: Compressor,
    /// Origin of the running or the last defrost.
    pub defrost_origin: DefrostOrigin,
    /// How the last defrost ended.
    pub defrost_end: DefrostEnd,
    /// Digital inputs, bit 0 first.
    pub inputs: u8,
    /// Digital outputs, bit 0 first.
    pub outputs: u8,
}

impl State {
    /// Whether the compressor turns: as reported, else as the stage says; `None` where neither is known.
    pub fn compressor_running(&self) -> Option<bool> {
        match (self.compressor, self.power, self.stage) {
            (Compressor::Running, _, _) => Some(true),
            (Compressor::Stopped, _, _) | (_, Power::Off, _) | (_, _, Stage::StoppedOnFault) => Some(false),
            (_, _, Stage::CoolingLow | Stage::CoolingHigh) => Some(true),
            (_, _, Stage::Satisfied) if self.running_mode == RunningMode::StartStop => Some(false),
            _ => None,
        }
    }

    /// Whether the unit takes heat out of the box.
    pub fn cooling(&self) -> bool {
        matches!(self.stage, Stage::CoolingLow | Stage::CoolingHigh)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_part_has_one_word_and_one_number() {
        for part in Stage::ALL {
            assert_eq!(Stage::from_name(part.name()), Ok(*part));
            assert_eq!(Stage::from_number(*part as i32), Ok(*part));
        }
        let error = Stage::from_number(99).unwrap_err();
        assert!(error.to_string().contains("cooling_low"), "{error}");
    }

    #[test]
    fn a_start_stop_unit_at_its_set_point_does_not_run() {
        let mut state =
            State { stage: Stage::Satisfied, running_mode: RunningMode::StartStop, ..State::default() };
        assert_eq!(state.compressor_running(), Some(false));
        state.running_mode = RunningMode::Continuous;
        assert_eq!(state.compressor_running(), None);
        state.compressor = Compressor::Running;
        assert_eq!(state.compressor_running(), Some(true));
    }
}
