//! What the controller sees of its machine, and the alarms it raises.

use rimeline_channels::{Alarm, Channel, DefrostEnd, Event, EventKind};

use crate::control::{Phase, Seen, Trip};
use crate::machine::{Machine, STEP_S};
use crate::sensors::Said;

/// Alarms of the controller: bit, code, text.
const ALARMS: [(u8, &str, &str); 5] = [
    (1, "HP-STOP", "Stopped by high pressure"),
    (2, "LP-STOP", "Stopped by low pressure"),
    (4, "DEF-TIME", "Defrost ended by its time limit"),
    (8, "CTL-SENSOR", "Control sensor failed, running on another"),
    (16, "NO-START", "Unit does not start"),
];

impl Machine {
    pub(crate) fn control(&mut self, events: &mut Vec<Event>) {
        let own = self.sensors.control(Channel::ReturnAirControl);
        let control = match own {
            Said::Number(t) => t,
            Said::Open | Said::Short => match self.sensors.control(Channel::ReturnAirCheck) {
                Said::Number(t) if self.sensors.has(Channel::ReturnAirCheck) => t,
                _ => match self.sensors.control(Channel::SupplyAirControl) {
                    Said::Number(t) => t + 3.0,
                    Said::Open | Said::Short => self.controller.set_point,
                },
            },
        };
        let before = (self.controller.phase, self.controller.end);
        let seen = Seen {
            control,
            coil: self.coil.metal,
            frost_kg: self.coil.frost,
            discharge_abs: self.discharge_abs,
            suction_abs: self.suction_abs,
            door_open: self.door_open,
            shore: self.shore,
            tightened: self.effects.tightened,
            broken: self.effects.broken,
        };
        self.controller.step(&self.design, &seen, STEP_S as f64);
        self.alarm(8, !matches!(own, Said::Number(_)), events);
        let phase = self.controller.phase;
        if phase != before.0 {
            self.alarm(16, phase == Phase::Broken, events);
            match self.controller.trip {
                Some(Trip::HighPressure) if phase == Phase::Stopped => self.alarm(1, true, events),
                Some(Trip::LowPressure) if phase == Phase::Stopped => self.alarm(2, true, events),
                _ => {}
            }
            if before.0 == Phase::Defrost {
                let limit = self.controller.end == DefrostEnd::TimeLimit;
                self.alarm(4, limit, events);
            }
        }
        if phase == Phase::Cool && self.controller.since >= 900.0 && self.alarms & 3 != 0 {
            self.alarm(1, false, events);
            self.alarm(2, false, events);
        }
    }

    fn alarm(&mut self, bit: u8, raised: bool, events: &mut Vec<Event>) {
        if raised == (self.alarms & bit != 0) {
            return;
        }
        self.alarms ^= bit;
        let Some(&(_, code, text)) = ALARMS.iter().find(|a| a.0 == bit) else {
            return;
        };
        let alarm = Alarm { code: code.to_owned(), text: text.to_owned(), by_person: false };
        let kind = if raised { EventKind::AlarmRaised(alarm) } else { EventKind::AlarmCleared(alarm) };
        events.push(Event { unit: self.index, time: self.now(), kind });
    }
}
