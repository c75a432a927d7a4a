use rimeline_channels::{Channel, Drive, Id, RunningMode, UnixMs};
use serde::{Deserialize, Serialize};

use crate::{PressureReference, Refrigerant};

/// The insulated body a unit is mounted on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Body {
    /// A semi-trailer, 13.6 m.
    SemiTrailer,
    /// A rigid body, 7.5 m.
    RigidBody,
}

/// The work a unit does; decides its set points, its running mode, its doors and its nights.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Service {
    /// Frozen loads over two or three days, start-stop.
    FrozenLongHaul,
    /// Frozen loads to many doors in a day, start-stop.
    FrozenDelivery,
    /// Chilled loads to many doors in a day, continuous.
    ChilledDelivery,
    /// Fresh produce over two or three days, continuous.
    FreshLongHaul,
    /// Medicines at 5 Cel, continuous.
    Pharma,
}

impl Service {
    /// Every kind of work.
    pub const ALL: [Service; 5] = [
        Self::FrozenLongHaul,
        Self::FrozenDelivery,
        Self::ChilledDelivery,
        Self::FreshLongHaul,
        Self::Pharma,
    ];

    /// The running mode the work is done in.
    pub fn running_mode(self) -> RunningMode {
        match self {
            Self::FrozenLongHaul | Self::FrozenDelivery => RunningMode::StartStop,
            Self::ChilledDelivery | Self::FreshLongHaul | Self::Pharma => RunningMode::Continuous,
        }
    }

    /// Whether it is frozen work.
    pub fn frozen(self) -> bool {
        matches!(self, Self::FrozenLongHaul | Self::FrozenDelivery)
    }

    /// Whether it is work with many doors in a day.
    pub fn delivery(self) -> bool {
        matches!(self, Self::FrozenDelivery | Self::ChilledDelivery)
    }
}

/// Something about a healthy unit that may look like a fault.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum LookAlike {
    /// Loads come warmer than the set point, so pull-downs are long.
    WarmLoads,
    /// Twice the door openings, each longer.
    ManyDoors,
    /// Parked nose to tail by day: the condenser breathes air that was already warmed.
    NoseToTail,
    /// The ambient probe stands in the sun when parked.
    SunnyAmbientProbe,
    /// The thermostat band is set tight: more starts at the same duty, by choice.
    TightBand,
    /// Hours without coverage; the readings come later.
    CoverageGaps,
}

/// What is known of a unit from outside: what a registry would hold.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Unit {
    /// Name.
    pub id: Id,
    /// Body.
    pub body: Body,
    /// Work.
    pub service: Service,
    /// Refrigerant.
    pub refrigerant: Refrigerant,
    /// What zero means for its pressure channels.
    pub pressure_reference: PressureReference,
    /// Altitude of its depot, m.
    pub altitude_m: f64,
    /// Channels that are fitted.
    pub fitted: Vec<Channel>,
    /// What can turn its compressor.
    pub drives: Vec<Drive>,
    /// Home depot.
    pub depot: String,
    /// Name of the depot's time zone in the public time zone database.
    pub time_zone: String,
    /// Units of one family are built alike.
    pub family: String,
    /// Time between readings, s.
    pub cadence_s: u32,
    /// High-pressure cut-out in the unit's own reference, kPa.
    pub cut_out_kpa: f64,
    /// Resolution of its air temperature channels, K.
    pub resolution_k: f64,
    /// What about it may look like a fault and is none.
    pub look_alikes: Vec<LookAlike>,
}

impl Unit {
    /// Whether a channel is fitted.
    pub fn has(&self, channel: Channel) -> bool {
        self.fitted.contains(&channel)
    }
}

/// What a load is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum CargoClass {
    /// Frozen food.
    Frozen,
    /// Chilled food.
    Chilled,
    /// Fruit, vegetables, flowers.
    FreshProduce,
    /// Medicines.
    Pharma,
    /// Nothing.
    Empty,
}

/// A load that a unit carries for a time.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Load {
    /// Name.
    pub id: Id,
    /// The unit that carries it.
    pub unit: Id,
    /// Loaded at.
    pub from: UnixMs,
    /// Unloaded at.
    pub until: UnixMs,
    /// What it is.
    pub cargo: CargoClass,
    /// Planned set point, Cel.
    pub set_point: f64,
    /// Tolerated below it, K.
    pub band_below: f64,
    /// Tolerated above it, K.
    pub band_above: f64,
    /// The running mode the load requires.
    pub running_mode: Option<RunningMode>,
}
