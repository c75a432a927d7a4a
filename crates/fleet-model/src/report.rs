//! What the gateway makes of a machine: a reading.

use rimeline_channels::{Channel, Reading};

use crate::control::Phase;
use crate::machine::Machine;
use crate::sensors::LAGGED;

impl Machine {
    /// Fills `reading` with what the unit reports now.
    pub(crate) fn report(&mut self, reading: &mut Reading) {
        reading.clear(self.now(), self.state);
        let Self { sensors, chance, circuit, design, engine, controller, .. } = self;
        for &channel in &Channel::ALL[..LAGGED] {
            sensors.write_lagged(reading, channel, chance);
        }
        let running = matches!(controller.phase, Phase::Cool | Phase::SelfTest);
        let lift = circuit.high - circuit.low;
        let starved = self.effects.starved;
        let outside = self.outside.air;
        let return_air = self.return_air;
        // Discharge gas: common practice, 60 to 95 Cel; hotter with lift and with superheated suction gas.
        let (hot, cold, liquid) = if running {
            let superheat = (5.0 + 14.0 * starved).min(0.9 * (return_air - circuit.low).max(1.0));
            let gas = circuit.high + 8.0 + 0.42 * lift + 0.7 * superheat;
            (gas, circuit.low + superheat, circuit.high - (5.0 - 4.5 * starved))
        } else {
            (outside + 4.0, outside, outside)
        };
        let mut put =
            |channel: Channel, value: f64, noise: f64| sensors.write(reading, channel, value, noise, chance);
        put(Channel::Auxiliary, outside, 0.1);
        put(Channel::Controller, outside + if controller.power { 9.0 } else { 1.0 }, 0.3);
        put(Channel::SetPoint, controller.set_point, 0.0);
        let gauge = design.zero_kpa;
        put(Channel::DischargePressure, self.discharge_abs - gauge, if running { 7.0 } else { 1.5 });
        put(Channel::SuctionPressure, self.suction_abs - gauge, if running { 2.5 } else { 1.0 });
        put(Channel::SuctionThrottle, controller.throttle * 100.0, 0.0);
        put(Channel::DischargeLine, hot, 0.4);
        put(Channel::SuctionLine, cold, 0.3);
        put(Channel::LiquidLine, liquid, 0.3);
        put(Channel::CoolantTemperature, engine.coolant, 0.3);
        put(Channel::CoolantLevel, 92.0, 0.3);
        let oil = engine.oil_kpa(design);
        put(Channel::OilPressure, oil, if oil > 0.0 { 5.0 } else { 0.0 });
        put(Channel::EngineSpeed, engine.rpm, if engine.rpm > 0.0 { 6.0 } else { 0.0 });
        put(Channel::FuelLevel, 100.0 * engine.fuel_l / design.tank_l, 0.25);
        put(Channel::BatteryVoltage, engine.volt, 0.02);
        put(Channel::BatteryCurrent, engine.ampere, 0.2);
        let motor = if self.shore && controller.compressor() { 8.0 + 9.0 * self.work_share } else { 0.0 };
        put(Channel::MotorCurrent, motor, if motor > 0.0 { 0.15 } else { 0.0 });
        put(Channel::EngineHours, (engine.engine_h * 20.0).floor() / 20.0, 0.0);
        put(Channel::StandbyHours, (engine.standby_h * 20.0).floor() / 20.0, 0.0);
        put(Channel::SwitchedOnHours, (engine.on_h * 20.0).floor() / 20.0, 0.0);
        put(Channel::CompressorStarts, f64::from(controller.starts), 0.0);
    }
}
