//! What the active faults of a unit do to it at one moment.

use rimeline_channels::{Channel, UnixMs};

use crate::fault::{Course, FaultKind};

/// A fault with its times in milliseconds.
#[derive(Clone, Debug)]
pub(crate) struct Planned {
    pub(crate) kind: FaultKind,
    pub(crate) channel: Option<Channel>,
    pub(crate) course: Course,
    pub(crate) onset: UnixMs,
    pub(crate) breakdown: Option<UnixMs>,
    pub(crate) repaired: Option<UnixMs>,
}

impl Planned {
    /// Intensity at a time, 0 to 1.
    pub(crate) fn intensity(&self, at: UnixMs) -> f64 {
        if at < self.onset || self.repaired.is_some_and(|r| at >= r) {
            return 0.0;
        }
        self.course.at((at - self.onset) as f64 / rimeline_channels::DAY_MS as f64)
    }
}

/// What faults do to the machine; `Default` is nothing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Effects {
    /// Shares left of pumping and of the condenser.
    pub(crate) pumping: f64,
    pub(crate) condenser: f64,
    /// Refrigerant missing at the evaporator, 0 to 1.
    pub(crate) starved: f64,
    pub(crate) tightened: f64,
    /// Share of supply air that the control sensor sees.
    pub(crate) control_in_supply: f64,
    /// Share left of defrost heat, and of melted water that stays.
    pub(crate) defrost_heat: f64,
    pub(crate) drain_blocked: f64,
    /// Leak of the door seal, W/K.
    pub(crate) leak_ua: f64,
    pub(crate) left_off: bool,
    pub(crate) silent: bool,
    pub(crate) broken: bool,
}

impl Default for Effects {
    fn default() -> Self {
        Self {
            pumping: 1.0,
            condenser: 1.0,
            starved: 0.0,
            tightened: 0.0,
            control_in_supply: 0.0,
            defrost_heat: 1.0,
            drain_blocked: 0.0,
            leak_ua: 0.0,
            left_off: false,
            silent: false,
            broken: false,
        }
    }
}

/// Share of the charge that can leak before the receiver runs dry, as intensity.
const RECEIVER: f64 = 0.15;

impl Effects {
    /// What these faults do at a time.
    pub(crate) fn of(faults: &[Planned], at: UnixMs) -> Self {
        let mut all = Self::default();
        for fault in faults {
            let x = fault.intensity(at);
            if x <= 0.0 {
                continue;
            }
            all.broken |= fault.breakdown.is_some_and(|b| at >= b);
            match fault.kind {
                FaultKind::CompressorWear => all.pumping *= 1.0 - 0.7 * x,
                FaultKind::LowCharge => all.starved = ((x - RECEIVER) / (1.0 - RECEIVER)).max(0.0),
                FaultKind::CondenserFouling => all.condenser *= 1.0 - 0.65 * x,
                FaultKind::CondenserFan => all.condenser *= 1.0 - 0.7 * x,
                FaultKind::BandTooTight => all.tightened = x.sqrt(),
                FaultKind::ControlSensorInSupplyAir => all.control_in_supply = x,
                FaultKind::IcedCoil => {
                    all.defrost_heat = 1.0 - 0.85 * x;
                    all.drain_blocked = 0.9 * x;
                }
                FaultKind::DoorSeal => all.leak_ua = 40.0 * x,
                FaultKind::LeftOffAfterDefrost => all.left_off = true,
                FaultKind::GatewaySilent => all.silent = true,
                FaultKind::SensorOpen
                | FaultKind::SensorShort
                | FaultKind::SensorSpiking
                | FaultKind::SensorStuck
                | FaultKind::SensorDrift
                | FaultKind::SensorNoise
                | FaultKind::PressureOffset => {}
            }
        }
        all
    }
}
