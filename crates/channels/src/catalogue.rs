//! The channel catalogue. Data table: one row per channel; numbers are those of the public contract.
// Spans stand in the table as they are written in the trade's own tables.
#![allow(clippy::unreadable_literal)]

use crate::Measure;

/// What a channel belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ChannelGroup {
    /// Air streams of the unit and the air outside.
    Air,
    /// Inside the body and on the coil.
    Box,
    /// The refrigerant circuit.
    Refrigerant,
    /// The engine.
    Engine,
    /// Battery and motor.
    Electrical,
    /// Counters that only grow.
    Counter,
    /// What the unit is told to do.
    Command,
}

/// One row of the catalogue.
#[derive(Clone, Copy, Debug)]
pub struct ChannelSpec {
    /// The channel.
    pub channel: Channel,
    /// Lower-case name; also the column name in Parquet files.
    pub name: &'static str,
    /// What it belongs to.
    pub group: ChannelGroup,
    /// Unit of measure of the stored value.
    pub measure: Measure,
    /// Stored value = quantity * 10^decimals.
    pub decimals: u8,
    /// Physical span in `measure`: a number outside it says the sensor is suspect, not that the box is.
    pub span: (f64, f64),
    /// SAE J1939 suspect parameter number, where the trade uses one.
    pub spn: Option<u16>,
}

/// A channel name or number that is not in the catalogue.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("there is no channel `{0}`; `rimeline channels` lists them")]
pub struct UnknownChannel(pub String);

macro_rules! catalogue {
    ($($number:literal $variant:ident $name:literal $group:ident $measure:ident $decimals:literal
       $low:literal .. $high:literal $spn:expr, $doc:literal;)*) => {
        /// A measured or counted quantity of a unit.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize)]
        #[repr(u8)]
        pub enum Channel { $(#[doc = $doc] #[serde(rename = $name)] $variant = $number,)* }

        impl Channel {
            /// Every channel, in catalogue order.
            pub const ALL: &'static [Channel] = &[$(Channel::$variant,)*];
        }

        static SPECS: &[ChannelSpec] = &[$(ChannelSpec {
            channel: Channel::$variant, name: $name, group: ChannelGroup::$group, measure: Measure::$measure,
            decimals: $decimals, span: ($low, $high), spn: $spn,
        },)*];
    };
}

// Spans: box temperatures -45..70 Cel, ambient and engine bay -45..90 Cel, pressures from -1 bar gauge: common
// practice, no source. J1939 rows: a span inside the parameter's valid range in the openly published table.
catalogue! {
    1 ReturnAirControl "return_air_control" Air Celsius 1 -45.0..70.0 None, "Return air, the sensor the unit controls by.";
    2 ReturnAirCheck "return_air_check" Air Celsius 1 -45.0..70.0 None, "Return air, second sensor.";
    3 SupplyAirControl "supply_air_control" Air Celsius 1 -45.0..70.0 None, "Supply air, the sensor the unit controls by.";
    4 SupplyAirCheck "supply_air_check" Air Celsius 1 -45.0..70.0 None, "Supply air, second sensor.";
    5 AmbientAir "ambient_air" Air Celsius 1 -45.0..90.0 None, "Air at the condenser inlet.";
    6 Coil "coil" Box Celsius 1 -45.0..70.0 None, "Evaporator coil.";
    7 CargoProbe1 "cargo_probe_1" Box Celsius 1 -45.0..70.0 None, "Recorder probe 1.";
    8 CargoProbe2 "cargo_probe_2" Box Celsius 1 -45.0..70.0 None, "Recorder probe 2.";
    9 CargoProbe3 "cargo_probe_3" Box Celsius 1 -45.0..70.0 None, "Recorder probe 3.";
    10 CargoProbe4 "cargo_probe_4" Box Celsius 1 -45.0..70.0 None, "Recorder probe 4.";
    11 CargoProbe5 "cargo_probe_5" Box Celsius 1 -45.0..70.0 None, "Recorder probe 5.";
    12 CargoProbe6 "cargo_probe_6" Box Celsius 1 -45.0..70.0 None, "Recorder probe 6.";
    13 Auxiliary "auxiliary" Box Celsius 1 -45.0..90.0 None, "Auxiliary temperature.";
    14 Controller "controller" Box Celsius 1 -45.0..90.0 None, "Inside the controller's housing.";
    15 SetPoint "set_point" Command Celsius 1 -45.0..70.0 None, "The temperature the unit is told to hold.";
    16 DischargePressure "discharge_pressure" Refrigerant Kilopascal 0 -100.0..15000.0 None, "Compressor discharge pressure, in the unit's own reference.";
    17 SuctionPressure "suction_pressure" Refrigerant Kilopascal 0 -100.0..8000.0 None, "Compressor suction pressure, in the unit's own reference.";
    18 SuctionThrottle "suction_throttle" Refrigerant Percent 1 0.0..100.0 None, "Opening of the suction throttle.";
    19 DischargeLine "discharge_line" Refrigerant Celsius 1 -45.0..200.0 None, "Discharge line.";
    20 SuctionLine "suction_line" Refrigerant Celsius 1 -60.0..90.0 None, "Suction line.";
    21 LiquidLine "liquid_line" Refrigerant Celsius 1 -45.0..120.0 None, "Liquid line.";
    22 CoolantTemperature "coolant_temperature" Engine Celsius 1 -40.0..130.0 Some(110), "Engine coolant.";
    23 CoolantLevel "coolant_level" Engine Percent 1 0.0..100.0 Some(111), "Engine coolant level.";
    24 OilPressure "oil_pressure" Engine Kilopascal 0 -20.0..1000.0 Some(100), "Engine oil pressure, gauge.";
    25 EngineSpeed "engine_speed" Engine RevolutionsPerMinute 1 0.0..4000.0 Some(190), "Engine speed.";
    26 FuelLevel "fuel_level" Engine Percent 1 0.0..100.0 Some(96), "Fuel level.";
    27 BatteryVoltage "battery_voltage" Electrical Volt 2 0.0..60.0 Some(168), "Battery voltage.";
    28 BatteryCurrent "battery_current" Electrical Ampere 1 -400.0..400.0 Some(114), "Battery current; charging is positive.";
    29 MotorCurrent "motor_current" Electrical Ampere 1 0.0..400.0 None, "Current of the electric drive motor.";
    30 EngineHours "engine_hours" Counter Hour 2 0.0..20000000.0 None, "Hours run on the engine.";
    31 StandbyHours "standby_hours" Counter Hour 2 0.0..20000000.0 None, "Hours run on shore power.";
    32 SwitchedOnHours "switched_on_hours" Counter Hour 2 0.0..20000000.0 None, "Hours switched on.";
    33 CompressorStarts "compressor_starts" Counter Count 0 0.0..2000000000.0 None, "Compressor starts.";
}

impl Channel {
    /// How many channels the catalogue has.
    pub const COUNT: usize = Self::ALL.len();

    /// The catalogue row.
    pub fn spec(self) -> &'static ChannelSpec {
        &SPECS[self.index()]
    }

    /// Dense index, `0..Channel::COUNT`.
    pub fn index(self) -> usize {
        self as usize - 1
    }

    /// Bit of this channel in a mask.
    pub fn bit(self) -> u64 {
        1 << self.index()
    }

    /// Number in the public contract.
    pub fn number(self) -> i32 {
        self as i32
    }

    /// The channel with this number in the public contract.
    pub fn from_number(number: i32) -> Option<Self> {
        usize::try_from(number).ok()?.checked_sub(1).and_then(|i| Self::ALL.get(i)).copied()
    }

    /// The channel with this name.
    pub fn from_name(name: &str) -> Result<Self, UnknownChannel> {
        SPECS
            .iter()
            .find(|s| s.name == name)
            .map(|s| s.channel)
            .ok_or_else(|| UnknownChannel(name.to_owned()))
    }

    /// Lower-case name.
    pub fn name(self) -> &'static str {
        self.spec().name
    }

    /// Number of decimals of the fixed-point scale.
    pub fn decimals(self) -> u8 {
        self.spec().decimals
    }

    /// 10^decimals.
    pub fn scale(self) -> f64 {
        [1.0, 10.0, 100.0, 1000.0][usize::from(self.decimals())]
    }

    /// A quantity in the channel's unit of measure as stored; `None` where it is not finite or does not fit.
    pub fn to_fixed(self, quantity: f64) -> Option<i32> {
        let scaled = (quantity * self.scale()).round();
        (scaled.abs() <= f64::from(i32::MAX)).then_some(scaled as i32)
    }

    /// A stored value as a quantity in the channel's unit of measure.
    pub fn to_quantity(self, fixed: i32) -> f64 {
        f64::from(fixed) / self.scale()
    }
}

impl std::fmt::Display for Channel {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.name())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_names_and_indices_agree_for_every_channel() {
        for (i, &channel) in Channel::ALL.iter().enumerate() {
            assert_eq!(channel.index(), i);
            assert_eq!(channel.spec().channel, channel);
            assert_eq!(Channel::from_number(channel.number()), Some(channel));
            assert_eq!(Channel::from_name(channel.name()), Ok(channel));
        }
        const { assert!(Channel::COUNT <= 64, "masks are 64 bits wide") };
    }

    #[test]
    fn numbers_outside_the_catalogue_are_no_channel() {
        for number in [i32::MIN, -1, 0, Channel::COUNT as i32 + 1, i32::MAX] {
            assert_eq!(Channel::from_number(number), None);
        }
        assert!(Channel::from_name("cargo_probe_7").is_err());
    }

    #[test]
    fn fixed_point_refuses_what_is_no_number() {
        assert_eq!(Channel::Coil.to_fixed(-2.26), Some(-23));
        assert_eq!(Channel::Coil.to_fixed(f64::NAN), None);
        assert_eq!(Channel::Coil.to_fixed(f64::INFINITY), None);
        assert_eq!(Channel::EngineHours.to_fixed(1e9), None);
    }
}
