//! Sensors: lag, offset, noise, resolution, and what faults of their own make of it.

use rimeline_channels::{Absence, Channel, Reading, UnixMs, Value};

use crate::chance::Chance;
use crate::effects::Planned;
use crate::fault::FaultKind;
use crate::unit::Unit;

/// How many of the catalogue's first channels are temperatures with a lag: air, coil and recorder probes.
pub(crate) const LAGGED: usize = 12;

/// One temperature sensor.
#[derive(Clone, Copy, Debug)]
struct Lag {
    felt: f64,
    share: f64,
    offset: f64,
    noise: f64,
}

/// A fault of one sensor.
#[derive(Clone, Debug)]
struct Broken {
    plan: Planned,
    sign: f64,
    intensity: f64,
    held: Option<f64>,
    spike: Option<f64>,
    /// Its own, so that a broken sensor changes no other channel.
    chance: Chance,
}

/// What a sensor says after its faults.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Said {
    Number(f64),
    Open,
    Short,
}

/// All sensors of a unit.
#[derive(Clone, Debug)]
pub(crate) struct Sensors {
    lags: [Lag; LAGGED],
    fitted: u64,
    broken: Vec<Broken>,
    offsets: [f64; Channel::COUNT],
    resolution_k: f64,
    pressure_step: f64,
    cadence_h: f64,
    /// Whether the source says "open" and "short" instead of sending an impossible number.
    status_codes: bool,
}

impl Sensors {
    pub(crate) fn new(unit: &Unit, faults: &[Planned], start: f64, dt: f64, chance: &mut Chance) -> Self {
        let mut lags = [Lag { felt: start, share: 0.0, offset: 0.0, noise: 0.0 }; LAGGED];
        for (lag, &channel) in lags.iter_mut().zip(Channel::ALL) {
            let (tau_s, offset, noise): (f64, f64, f64) = match channel {
                Channel::AmbientAir => (150.0, 0.3, 0.10),
                Channel::Coil => (40.0, 0.3, 0.08),
                Channel::SupplyAirControl | Channel::SupplyAirCheck => (35.0, 0.15, 0.10),
                Channel::ReturnAirControl | Channel::ReturnAirCheck => (45.0, 0.15, 0.06),
                _ => (300.0, 0.2, 0.03),
            };
            lag.share = 1.0 - (-dt / tau_s).exp();
            lag.offset = offset * chance.normal().clamp(-2.0, 2.0);
            lag.noise = noise;
        }
        let mut offsets = [0.0; Channel::COUNT];
        offsets[Channel::DischargePressure.index()] = 9.0 * chance.normal().clamp(-2.0, 2.0);
        offsets[Channel::SuctionPressure.index()] = 4.0 * chance.normal().clamp(-2.0, 2.0);
        let fitted = unit.fitted.iter().fold(0, |mask, c| mask | c.bit());
        let broken = faults
            .iter()
            .filter(|f| f.kind.of_a_channel())
            .zip(1..)
            .map(|(plan, n)| {
                let mut chance = chance.fork(n);
                let sign = if chance.happens(0.5) { 1.0 } else { -1.0 };
                Broken { plan: plan.clone(), sign, intensity: 0.0, held: None, spike: None, chance }
            })
            .collect();
        let pressure_step = [1.0, 1.0, 5.0][chance.below(3)];
        let status_codes = chance.happens(0.6);
        let cadence_h = f64::from(unit.cadence_s) / 3_600.0;
        let resolution_k = unit.resolution_k;
        Self { lags, fitted, broken, offsets, resolution_k, pressure_step, cadence_h, status_codes }
    }

    pub(crate) fn has(&self, channel: Channel) -> bool {
        self.fitted & channel.bit() != 0
    }

    /// One step: sensors follow the true temperatures.
    pub(crate) fn follow(&mut self, truth: &[f64; LAGGED]) {
        for (lag, t) in self.lags.iter_mut().zip(truth) {
            lag.felt += lag.share * (t - lag.felt);
        }
    }

    /// Brings the sensors' own faults up to a time.
    pub(crate) fn age(&mut self, at: UnixMs) {
        for broken in &mut self.broken {
            broken.intensity = broken.plan.intensity(at);
            if broken.intensity <= 0.0 {
                (broken.held, broken.spike) = (None, None);
            }
        }
    }

    /// What the controller makes of a temperature; it filters noise and single spikes.
    pub(crate) fn control(&mut self, channel: Channel) -> Said {
        let lag = self.lags[channel.index()];
        let mut said = Said::Number(lag.felt + lag.offset);
        for broken in &mut self.broken {
            if broken.plan.channel == Some(channel)
                && broken.intensity > 0.0
                && !matches!(broken.plan.kind, FaultKind::SensorNoise | FaultKind::SensorSpiking)
            {
                said = broken.alter(said, 0.0, 0.0);
            }
        }
        said
    }

    /// Puts a channel into a reading: a true value goes through the sensor. Not fitted channels say so.
    pub(crate) fn write(
        &mut self,
        reading: &mut Reading,
        channel: Channel,
        truth: f64,
        noise: f64,
        chance: &mut Chance,
    ) {
        if !self.has(channel) {
            reading.set(channel, Value::Absent(Absence::NotFitted));
            return;
        }
        let clean = truth + self.offsets[channel.index()];
        let mut said = Said::Number(if noise > 0.0 { clean + noise * chance.normal() } else { clean });
        for broken in &mut self.broken {
            if broken.plan.channel == Some(channel) && broken.intensity > 0.0 {
                broken.roll(self.cadence_h);
                let normal = broken.chance.normal();
                said = broken.alter(said, normal, clean);
            }
        }
        let step = match channel {
            Channel::DischargePressure | Channel::SuctionPressure => self.pressure_step,
            c if c.index() < 6 => self.resolution_k,
            Channel::CoolantTemperature => 1.0,
            Channel::OilPressure => 4.0,
            Channel::EngineSpeed => 0.125,
            Channel::FuelLevel | Channel::CoolantLevel => 0.4,
            Channel::BatteryVoltage => 0.05,
            _ => 0.0,
        };
        match said {
            Said::Number(number) => {
                let number = if step > 0.0 { (number / step).round() * step } else { number };
                reading.set_quantity(channel, number);
            }
            Said::Open if self.status_codes => reading.set(channel, Value::Absent(Absence::FailedOpen)),
            Said::Short if self.status_codes => reading.set(channel, Value::Absent(Absence::FailedShort)),
            Said::Open => reading.set_quantity(channel, channel.spec().span.0 - 20.0),
            Said::Short => reading.set_quantity(channel, channel.spec().span.1 + 60.0),
        }
    }

    /// Puts one of the lagged temperatures into a reading.
    pub(crate) fn write_lagged(&mut self, reading: &mut Reading, channel: Channel, chance: &mut Chance) {
        let lag = self.lags[channel.index()];
        self.write(reading, channel, lag.felt + lag.offset, lag.noise, chance);
    }
}

impl Broken {
    /// Decides whether this reading falls on a bad contact.
    fn roll(&mut self, cadence_h: f64) {
        let chance = &mut self.chance;
        if self.plan.kind != FaultKind::SensorSpiking {
            return;
        }
        let stays = self.spike.is_some() && chance.happens(0.15);
        if !stays {
            // About one jump an hour at full intensity.
            let jumps = chance.happens((self.intensity * cadence_h).min(0.4));
            let side = if chance.happens(0.7) { self.sign } else { -self.sign };
            self.spike = jumps.then(|| side * chance.within(7.0, 35.0));
        }
    }

    fn alter(&mut self, said: Said, normal: f64, clean: f64) -> Said {
        let Said::Number(number) = said else { return said };
        let x = self.intensity;
        match self.plan.kind {
            FaultKind::SensorOpen => Said::Open,
            FaultKind::SensorShort => Said::Short,
            FaultKind::SensorStuck => Said::Number(*self.held.get_or_insert(number)),
            FaultKind::SensorDrift => Said::Number(number + self.sign * 4.0 * x),
            FaultKind::SensorNoise => Said::Number(number + 2.0 * x * normal),
            FaultKind::SensorSpiking => Said::Number(self.spike.map_or(number, |s| clean + s)),
            FaultKind::PressureOffset => {
                let kpa = if self.plan.channel == Some(Channel::SuctionPressure) { 110.0 } else { 260.0 };
                Said::Number(number + self.sign * kpa * x)
            }
            _ => said,
        }
    }
}
