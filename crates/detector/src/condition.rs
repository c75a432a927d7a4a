use serde::{Deserialize, Serialize};

/// What can be wrong with a unit. Numbers are those of the public contract.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[repr(u8)]
pub enum Condition {
    /// A fitted sensor reads what cannot be, or its circuit is open or shorted.
    SensorOutOfRange = 1,
    /// A sensor stands still while everything it should follow moved.
    SensorStuck = 2,
    /// A sensor jumps away and back again and again.
    SensorSpiking = 3,
    /// A sensor is much noisier than it was.
    SensorNoisy = 4,
    /// Two sensors of one air stream drifted apart.
    TwinsDisagree = 5,
    /// A pressure transducer is off, seen when the circuit is equalised.
    PressureOffset = 6,
    /// The unit takes less heat out of the air than it used to at full cooling.
    WeakCooling = 7,
    /// The unit does not reach its set point, or not in the time it used to take.
    SlowPullDown = 8,
    /// The compressor starts too often.
    ShortCycling = 9,
    /// Condensing temperature over ambient rises: dirty condenser, fan, belt, overcharge.
    RisingDischargePressure = 10,
    /// A unit that reported stopped reporting.
    Silent = 11,
}

impl Condition {
    /// Every condition, in contract order.
    pub const ALL: [Condition; 11] = [
        Self::SensorOutOfRange,
        Self::SensorStuck,
        Self::SensorSpiking,
        Self::SensorNoisy,
        Self::TwinsDisagree,
        Self::PressureOffset,
        Self::WeakCooling,
        Self::SlowPullDown,
        Self::ShortCycling,
        Self::RisingDischargePressure,
        Self::Silent,
    ];

    /// The condition with this number in the public contract.
    pub fn from_number(number: i32) -> Option<Self> {
        Self::ALL.into_iter().find(|c| *c as i32 == number)
    }

    /// Lower-case name, for files and configuration.
    pub fn name(self) -> &'static str {
        match self {
            Self::SensorOutOfRange => "sensor_out_of_range",
            Self::SensorStuck => "sensor_stuck",
            Self::SensorSpiking => "sensor_spiking",
            Self::SensorNoisy => "sensor_noisy",
            Self::TwinsDisagree => "twins_disagree",
            Self::PressureOffset => "pressure_offset",
            Self::WeakCooling => "weak_cooling",
            Self::SlowPullDown => "slow_pull_down",
            Self::ShortCycling => "short_cycling",
            Self::RisingDischargePressure => "rising_discharge_pressure",
            Self::Silent => "silent",
        }
    }

    /// The condition with this name.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|c| c.name() == name)
    }
}

impl std::fmt::Display for Condition {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.name())
    }
}
