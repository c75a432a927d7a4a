use rimeline_channels::{Absence, Channel, Drive, Id, RunningMode, State, UnixMs, Value};
use rimeline_detector::{UnitSetup, Within};
use rimeline_refrigerant::{PressureReference, Refrigerant};
use serde::{Deserialize, Serialize};

use crate::{Body, CargoClass};

/// What is known of a unit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct UnitDescription {
    /// The unit.
    pub unit: Id,
    /// What it cools.
    pub body: Body,
    /// Its refrigerant, where stated.
    pub refrigerant: Option<Refrigerant>,
    /// What zero means for its pressure channels, where stated.
    pub pressure_reference: Option<PressureReference>,
    /// Altitude above sea level, m, -500 to 5000; `None`: taken as 0.
    pub altitude_m: Option<f64>,
    /// Channels that have a sensor; empty: not stated.
    pub fitted: Vec<Channel>,
    /// What can turn its compressor; empty: not stated.
    pub drives: Vec<Drive>,
    /// Where it belongs, at most 64 characters; empty: not stated.
    pub depot: String,
    /// IANA name; empty: not stated, taken as UTC.
    pub time_zone: String,
    /// Units of one family are compared with each other, at most 64 characters.
    pub family: String,
    /// High-pressure cut-out in the unit's own pressure reference, kPa.
    pub high_pressure_cut_out_kpa: Option<f64>,
    /// Expected time between readings, s; `None`: learned.
    pub cadence_s: Option<u32>,
}

impl UnitDescription {
    /// A unit of which only the name is known.
    pub fn new(unit: Id) -> Self {
        Self {
            unit,
            body: Body::Unknown,
            refrigerant: None,
            pressure_reference: None,
            altitude_m: None,
            fitted: Vec::new(),
            drives: Vec::new(),
            depot: String::new(),
            time_zone: String::new(),
            family: String::new(),
            high_pressure_cut_out_kpa: None,
            cadence_s: None,
        }
    }

    /// What detectors need to know, with the load the unit carries now.
    pub fn setup(&self, load: Option<&Load>) -> UnitSetup {
        UnitSetup {
            refrigerant: self.refrigerant,
            pressure_reference: self.pressure_reference,
            altitude_m: self.altitude_m.unwrap_or(0.0),
            fitted: self.fitted.clone(),
            cut_out_kpa: self.high_pressure_cut_out_kpa,
            cadence_s: self.cadence_s,
            family: self.family.clone(),
            load: load.and_then(Load::within),
        }
    }
}

/// A load and what it tolerates.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Load {
    /// The load's own id.
    pub load: Id,
    /// The unit that carries it.
    pub unit: Id,
    /// Carried from then on.
    pub from: UnixMs,
    /// And no longer from then on; `None`: until further notice.
    pub until: Option<UnixMs>,
    /// What it is.
    pub cargo_class: CargoClass,
    /// Planned set point, Cel.
    pub set_point: f64,
    /// Tolerated below the set point, K.
    pub band_below: f64,
    /// Tolerated above the set point, K.
    pub band_above: f64,
    /// The running mode the load requires; `Unknown`: any.
    pub required_running_mode: RunningMode,
}

impl Load {
    /// Whether the unit carries it at a time.
    pub fn covers(&self, time: UnixMs) -> bool {
        self.from <= time && self.until.is_none_or(|until| time < until)
    }

    /// What it tolerates; `None` for the statement that a unit is empty.
    pub fn within(&self) -> Option<Within> {
        let mode = self.required_running_mode;
        (self.cargo_class != CargoClass::Empty).then_some(Within {
            set_point: self.set_point,
            below: self.band_below,
            above: self.band_above,
            running_mode: (mode != RunningMode::Unknown).then_some(mode),
        })
    }
}

/// A unit that was described or that ever reported.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct UnitSummary {
    /// The unit.
    pub unit: Id,
    /// `None`: it reports and nobody has described it.
    pub description: Option<UnitDescription>,
    /// Time of its newest reading; `None`: it never reported.
    pub last_reading: Option<UnixMs>,
    /// Rows that came from it, those not assessed included.
    pub rows: u64,
    /// Rows that came too far out of order to be assessed; they are in the archive.
    pub not_assessed: u64,
}

/// A unit with what it said last.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct UnitRecord {
    /// Who it is and how much it reported.
    pub summary: UnitSummary,
    /// Per channel that ever reported, in catalogue order.
    pub last_values: Vec<LastValue>,
    /// Its state at the newest reading.
    pub last_state: State,
}

/// What a channel said last.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct LastValue {
    /// Which channel.
    pub channel: Channel,
    /// The stored number, in the channel's fixed-point scale; `None`: see `absence`.
    pub number: Option<i32>,
    /// Why there is no number.
    pub absence: Option<Absence>,
    /// When.
    pub time: UnixMs,
}

impl LastValue {
    /// What a channel said at a time.
    pub fn new(channel: Channel, value: Value, time: UnixMs) -> Self {
        match value {
            Value::Number(number) => Self { channel, number: Some(number), absence: None, time },
            Value::Absent(absence) => Self { channel, number: None, absence: Some(absence), time },
        }
    }

    /// The number as a quantity in the channel's unit of measure.
    pub fn quantity(&self) -> Option<f64> {
        self.number.map(|number| self.channel.to_quantity(number))
    }
}
