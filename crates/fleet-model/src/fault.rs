use rimeline_channels::{Channel, Id, UnixMs};
use serde::{Deserialize, Serialize};

/// What is broken.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FaultKind {
    /// The sensor's circuit is open.
    SensorOpen,
    /// The sensor's circuit is shorted.
    SensorShort,
    /// A loose contact: single values jump away and come back.
    SensorSpiking,
    /// The sensor repeats one value.
    SensorStuck,
    /// The sensor's offset grows.
    SensorDrift,
    /// The sensor is noisy.
    SensorNoise,
    /// A pressure transducer is off by a constant.
    PressureOffset,
    /// The compressor pumps less than it did.
    CompressorWear,
    /// Refrigerant is lost.
    LowCharge,
    /// The condenser clogs.
    CondenserFouling,
    /// The condenser fan's belt slips or the fan fails.
    CondenserFan,
    /// The thermostat band and its minimum times were set far too tight.
    BandTooTight,
    /// The control sensor has come loose and hangs in the supply air stream.
    ControlSensorInSupplyAir,
    /// The gateway stops.
    GatewaySilent,
    /// Defrosts no longer clear the coil: weak heat, blocked drain.
    IcedCoil,
    /// The door seal leaks.
    DoorSeal,
    /// A manual defrost is cut short by switching off, and the unit is left off with its load.
    LeftOffAfterDefrost,
}

impl FaultKind {
    /// Every kind.
    pub const ALL: [FaultKind; 17] = [
        Self::SensorOpen,
        Self::SensorShort,
        Self::SensorSpiking,
        Self::SensorStuck,
        Self::SensorDrift,
        Self::SensorNoise,
        Self::PressureOffset,
        Self::CompressorWear,
        Self::LowCharge,
        Self::CondenserFouling,
        Self::CondenserFan,
        Self::BandTooTight,
        Self::ControlSensorInSupplyAir,
        Self::GatewaySilent,
        Self::IcedCoil,
        Self::DoorSeal,
        Self::LeftOffAfterDefrost,
    ];

    /// Whether it is of one channel, which the fault then has to name.
    pub fn of_a_channel(self) -> bool {
        matches!(
            self,
            Self::SensorOpen
                | Self::SensorShort
                | Self::SensorSpiking
                | Self::SensorStuck
                | Self::SensorDrift
                | Self::SensorNoise
                | Self::PressureOffset
        )
    }

    /// Names of the conditions a detector may rightly call it, best first. Empty: no condition of the contract fits.
    pub fn rightly_called(self) -> &'static [&'static str] {
        match self {
            Self::SensorOpen | Self::SensorShort => {
                &["sensor_out_of_range", "sensor_spiking", "sensor_stuck"]
            }
            Self::SensorSpiking => &["sensor_spiking", "sensor_noisy", "sensor_out_of_range"],
            Self::SensorStuck => &["sensor_stuck", "twins_disagree"],
            Self::SensorDrift => &["twins_disagree"],
            Self::SensorNoise => &["sensor_noisy", "sensor_spiking"],
            Self::PressureOffset => &["pressure_offset"],
            Self::CompressorWear | Self::IcedCoil => &["weak_cooling", "slow_pull_down"],
            Self::LowCharge => &["weak_cooling", "slow_pull_down", "short_cycling"],
            Self::CondenserFouling | Self::CondenserFan => &["rising_discharge_pressure", "weak_cooling"],
            Self::BandTooTight => &["short_cycling"],
            Self::ControlSensorInSupplyAir => &["short_cycling", "twins_disagree"],
            Self::GatewaySilent => &["silent"],
            Self::DoorSeal => &["slow_pull_down"],
            Self::LeftOffAfterDefrost => &[],
        }
    }
}

/// How a fault grows from its onset.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Course {
    /// At once at this intensity.
    Step(f64),
    /// Evenly, reaching `peak` after `days`, then staying there.
    Ramp {
        /// Intensity reached.
        peak: f64,
        /// Days it takes.
        days: f64,
    },
}

/// From this intensity on a person who knew would call the workshop.
pub const SERVICE_NOW: f64 = 0.5;

impl Course {
    /// Intensity, 0 to 1, some days after the onset.
    pub fn at(self, days: f64) -> f64 {
        match self {
            _ if days < 0.0 => 0.0,
            Self::Step(level) => level,
            Self::Ramp { peak, days: full } if days >= full => peak,
            Self::Ramp { peak, days: full } => peak * days / full,
        }
    }

    /// Highest intensity.
    pub fn peak(self) -> f64 {
        match self {
            Self::Step(level) => level,
            Self::Ramp { peak, .. } => peak,
        }
    }

    /// Days from the onset until [`SERVICE_NOW`]; `None` where it stays below.
    pub fn days_to_service(self) -> Option<f64> {
        match self {
            Self::Step(level) => (level >= SERVICE_NOW).then_some(0.0),
            Self::Ramp { peak, days } => (peak >= SERVICE_NOW).then(|| days * SERVICE_NOW / peak),
        }
    }
}

/// One fault of one unit, in days from the scenario's start.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Fault {
    /// Index of the unit.
    pub unit: u32,
    /// What is broken.
    pub kind: FaultKind,
    /// Which channel, for a fault of one channel.
    #[serde(default)]
    pub channel: Option<Channel>,
    /// When it begins.
    pub onset_day: f64,
    /// How it grows.
    pub course: Course,
    /// When the unit stops for good because of it.
    #[serde(default)]
    pub breakdown_day: Option<f64>,
    /// When a workshop cures it.
    #[serde(default)]
    pub repaired_day: Option<f64>,
}

/// What is true of a unit: the label to score against.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Truth {
    /// The unit.
    pub unit: Id,
    /// What is broken.
    pub kind: FaultKind,
    /// Which channel, for a fault of one channel.
    pub channel: Option<Channel>,
    /// When it began.
    pub onset_ms: UnixMs,
    /// When it reached the intensity that calls for the workshop; `None`: it stays below.
    pub service_now_ms: Option<UnixMs>,
    /// When the unit stopped because of it.
    pub breakdown_ms: Option<UnixMs>,
    /// When it was cured.
    pub repaired_ms: Option<UnixMs>,
    /// Highest intensity it reaches, 0 to 1.
    pub peak: f64,
}
