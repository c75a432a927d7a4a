//! The refrigerant circuit: two saturation temperatures that follow what evaporator, compressor and condenser exchange.

use crate::design::Design;

/// Evaporating temperature at which the expansion valve stops feeding more, Cel.
const MOST_LOW: f64 = -3.0;

/// State of the circuit.
#[derive(Clone, Debug)]
pub(crate) struct Circuit {
    /// Evaporating temperature, Cel.
    pub(crate) low: f64,
    /// Condensing temperature, Cel.
    pub(crate) high: f64,
    /// How far the pressures have equalised, 0 to 1.
    pub(crate) even: f64,
    /// Temperature that decides the equalised pressure, Cel.
    rest: f64,
}

/// What drives a running circuit during a step.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Drive {
    pub(crate) return_air: f64,
    pub(crate) condenser_air: f64,
    /// Displacement relative to high speed.
    pub(crate) speed: f64,
    /// Opening of the throttle, 0 to 1.
    pub(crate) throttle: f64,
    /// Pumping left, 1 for a healthy compressor.
    pub(crate) pumping: f64,
    /// Refrigerant missing beyond what the receiver held back, 0 to 1.
    pub(crate) starved: f64,
    /// Evaporator air stream, W/K, and surface, W/K.
    pub(crate) air_flow: f64,
    pub(crate) evaporator_ua: f64,
    pub(crate) condenser_ua: f64,
}

impl Circuit {
    pub(crate) fn new(ambient: f64) -> Self {
        Self { low: ambient, high: ambient, even: 1.0, rest: ambient }
    }

    /// One step of running; returns heat taken from the air, W.
    pub(crate) fn run(&mut self, design: &Design, drive: &Drive, dt: f64) -> f64 {
        // A starved evaporator is wetted over part of its length only.
        let ua = drive.evaporator_ua * (1.0 - drive.starved).max(0.05).powf(1.3);
        let exchange = drive.air_flow * (1.0 - (-ua / drive.air_flow).exp());
        let flow = 0.12 + 0.88 * drive.throttle;
        let lift = (1.0 - 0.009 * (self.high - 40.0)).max(0.2);
        let capacity = design.capacity
            * drive.speed
            * drive.pumping
            * flow
            * lift
            * (0.0315 * (self.low.min(MOST_LOW) + 20.0)).exp()
            * (1.0 - 0.05 * drive.starved);
        let taken = exchange * (drive.return_air - self.low);
        let c = design.coil_c / dt;
        self.low += (taken - capacity) / (c + exchange + 0.0315 * capacity);
        self.low = self.low.clamp(-50.0, drive.return_air);

        let work = capacity * ((self.high - self.low) / (self.low + 273.15)).max(0.12) / 0.5;
        // Fans are cycled or the condenser flooded when it is cold outside.
        let open = ((self.high - design.head_floor + 2.0) / 5.0).clamp(0.08, 1.0);
        let ua = drive.condenser_ua * open;
        let c = 0.4 * design.coil_c / dt;
        self.high += (capacity + work - ua * (self.high - drive.condenser_air)) / (c + ua);
        self.high = self.high.clamp(self.low, 85.0);
        self.even *= (-dt / 15.0).exp();
        exchange * (drive.return_air - self.low)
    }

    /// One step of standing: the pressures run together, towards what the coldest places allow.
    pub(crate) fn stand(&mut self, coil: f64, ambient: f64, dt: f64) {
        let target = 0.6 * coil + 0.4 * ambient;
        let keep = (-dt / 240.0).exp();
        if self.even < 0.05 {
            self.rest = 0.5 * (self.low + self.high).min(target + 10.0) + 0.5 * target;
        }
        self.rest = target + (self.rest - target) * keep;
        self.low = target + (self.low - target) * keep;
        self.high = target + (self.high - target) * keep;
        self.even = 1.0 - (1.0 - self.even) * (-dt / 70.0).exp();
    }

    /// One step of hot-gas defrost: the coil condenses, the condenser idles.
    pub(crate) fn defrost(&mut self, coil: f64, ambient: f64, dt: f64) {
        let keep = (-dt / 60.0).exp();
        let (low, high) = (coil - 6.0, (ambient + 4.0).max(24.0));
        self.low = low + (self.low - low) * keep;
        self.high = high + (self.high - high) * keep;
        self.even *= (-dt / 15.0).exp();
    }

    /// Absolute discharge and suction pressure, kPa.
    pub(crate) fn pressures(&self, design: &Design) -> (f64, f64) {
        let (high, low) = (design.fluid.high_side_kpa(self.high), design.fluid.low_side_kpa(self.low));
        if self.even < 1e-3 {
            return (high, low);
        }
        let even = design.fluid.high_side_kpa(self.rest);
        (high + self.even * (even - high), low + self.even * (even - low))
    }
}
