//! The sensors that are watched one by one, and their last values.

use rimeline_channels::{Channel, Reading};
use serde::{Deserialize, Serialize};

/// How many sensors are watched one by one.
pub(crate) const WATCHED: usize = 14;

/// The sensors that are watched one by one.
pub(crate) const SENSORS: [Channel; WATCHED] = [
    Channel::ReturnAirControl,
    Channel::ReturnAirCheck,
    Channel::SupplyAirControl,
    Channel::SupplyAirCheck,
    Channel::AmbientAir,
    Channel::Coil,
    Channel::CargoProbe1,
    Channel::CargoProbe2,
    Channel::CargoProbe3,
    Channel::CargoProbe4,
    Channel::CargoProbe5,
    Channel::CargoProbe6,
    Channel::DischargePressure,
    Channel::SuctionPressure,
];

/// Indices into [`SENSORS`].
pub(crate) mod index {
    pub(crate) const RETURN_CONTROL: usize = 0;
    pub(crate) const RETURN_CHECK: usize = 1;
    pub(crate) const SUPPLY_CONTROL: usize = 2;
    pub(crate) const SUPPLY_CHECK: usize = 3;
    pub(crate) const AMBIENT: usize = 4;
    pub(crate) const COIL: usize = 5;
    pub(crate) const DISCHARGE: usize = 12;
    pub(crate) const SUCTION: usize = 13;
}

/// The other sensor of the same air stream.
pub(crate) fn twin(sensor: usize) -> Option<usize> {
    (sensor < 4).then_some(sensor ^ 1)
}

pub(crate) fn is_pressure(sensor: usize) -> bool {
    sensor >= index::DISCHARGE
}

/// Values of one reading, with those that cannot be used left out.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Frame {
    values: [i16; WATCHED],
    has: u16,
}

impl Frame {
    /// Takes the watched sensors of a reading whose number is not in the mask `bad`.
    pub(crate) fn of(reading: &Reading, bad: u64) -> Self {
        let mut frame = Self::default();
        for (i, channel) in SENSORS.into_iter().enumerate() {
            if bad & channel.bit() != 0 {
                continue;
            }
            if let Some(value) = reading.fixed(channel).and_then(|n| i16::try_from(n).ok()) {
                frame.values[i] = value;
                frame.has |= 1 << i;
            }
        }
        frame
    }

    pub(crate) fn get(&self, sensor: usize) -> Option<i16> {
        (self.has >> sensor & 1 == 1).then(|| self.values[sensor])
    }

    pub(crate) fn quantity(&self, sensor: usize) -> Option<f64> {
        self.get(sensor).map(|v| quantity(sensor, f64::from(v)))
    }

    /// Leaves a sensor out.
    pub(crate) fn drop(&mut self, sensor: usize) {
        self.has &= !(1 << sensor);
    }

    /// The frame without the sensors of a mask over [`SENSORS`].
    pub(crate) fn without(mut self, mask: u16) -> Self {
        self.has &= !mask;
        self
    }

    /// Mask over [`SENSORS`].
    pub(crate) fn has(&self) -> u16 {
        self.has
    }
}

/// A number of stored steps as a quantity.
pub(crate) fn quantity(sensor: usize, steps: f64) -> f64 {
    steps / SENSORS[sensor].scale()
}

/// A quantity as a number of stored steps.
pub(crate) fn steps(sensor: usize, quantity: f64) -> f64 {
    quantity * SENSORS[sensor].scale()
}

/// Sensors of a mask of channels, as a mask over [`SENSORS`].
pub(crate) fn of_channels(mask: u64) -> u16 {
    SENSORS.into_iter().enumerate().filter(|(_, c)| mask & c.bit() != 0).fold(0, |m, (i, _)| m | 1 << i)
}

/// The last accepted value of a channel, where it is watched.
pub(crate) fn last(pasts: &[Past; WATCHED], channel: Channel) -> Option<i32> {
    let sensor = SENSORS.iter().position(|c| *c == channel)?;
    pasts[sensor].values().first().map(|v| i32::from(*v))
}

/// How many past values are kept.
pub(crate) const PAST: usize = 6;

/// The last accepted values of a sensor, newest first.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Past {
    values: [i16; PAST],
    len: u8,
    /// Readings since the newest value.
    missed: u8,
    /// Smallest step between two values, in stored steps; 0: none seen.
    quantum: u16,
}

/// Readings a sensor may leave out before its past is no longer its near past.
const MOST_MISSED: u8 = 5;

impl Past {
    pub(crate) fn values(&self) -> &[i16] {
        &self.values[..usize::from(self.len)]
    }

    pub(crate) fn push(&mut self, value: i16) {
        if let Some(&last) = self.values().first() {
            let step = last.abs_diff(value);
            if step > 0 && (self.quantum == 0 || step < self.quantum) {
                self.quantum = step;
            }
        }
        self.values.copy_within(0..PAST - 1, 1);
        self.values[0] = value;
        self.len = (self.len + 1).min(PAST as u8);
        self.missed = 0;
    }

    pub(crate) fn miss(&mut self) {
        self.missed = self.missed.saturating_add(1);
        if self.missed > MOST_MISSED {
            self.len = 0;
        }
    }

    pub(crate) fn forget(&mut self) {
        self.len = 0;
    }

    /// The sensor's own step, in stored steps.
    pub(crate) fn quantum(&self) -> f64 {
        f64::from(self.quantum.max(1))
    }
}
