//! What people do with a unit: when it is switched on, loaded, driven, opened, plugged in and switched off.

use rimeline_channels::{DAY_MS, Id};

use crate::chance::Chance;
use crate::scenario::{Depot, Scenario};
use crate::unit::{CargoClass, Load, LookAlike, Service, Unit};

/// One thing people do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Act {
    Power(bool),
    SetPoint(f64),
    Door(bool),
    /// Mass in kg, specific heat in J/(kg K), temperature in Cel, respiration in W/kg.
    Load {
        mass: f64,
        heat: f64,
        temperature: f64,
        breath: f64,
    },
    /// Share of the load that leaves.
    Unload(f64),
    Shore(bool),
    Moving(bool),
    SelfTest,
    ManualDefrost,
}

/// When and what.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Action {
    /// Seconds since the scenario's start.
    pub(crate) at: i64,
    pub(crate) act: Act,
}

/// All that people do with one unit.
#[derive(Debug, Default)]
pub(crate) struct Plan {
    pub(crate) actions: Vec<Action>,
    pub(crate) loads: Vec<Load>,
}

/// Writes a plan.
struct Writer<'a> {
    unit: &'a Unit,
    scenario: &'a Scenario,
    chance: &'a mut Chance,
    shore: bool,
    offset_s: f64,
    plan: Plan,
}

impl Plan {
    pub(crate) fn new(unit: &Unit, depot: &Depot, scenario: &Scenario, chance: &mut Chance) -> Self {
        let shore = unit.drives.contains(&rimeline_channels::Drive::Shore);
        let offset_s = depot.utc_offset_h * 3600.0;
        let plan = Self::default();
        let mut writer = Writer { unit, scenario, chance, shore, offset_s, plan };
        if unit.service.delivery() {
            writer.delivery_days();
        } else {
            writer.long_trips();
        }
        let mut plan = writer.plan;
        plan.actions.sort_by_key(|a| a.at);
        plan
    }
}

impl Writer<'_> {
    /// Adds an action at an hour of local time, counted from midnight of the scenario's first day.
    fn at(&mut self, hour: f64, act: Act) {
        let at = (hour * 3600.0 - self.offset_s).round() as i64;
        if (0..i64::from(self.scenario.days) * 86_400).contains(&at) {
            self.plan.actions.push(Action { at, act });
        }
    }

    /// Monday is 0.
    fn weekday(&self, day: u32) -> i64 {
        (self.scenario.start.div_euclid(DAY_MS) + i64::from(day) + 3).rem_euclid(7)
    }

    fn likes(&self, look: LookAlike) -> bool {
        self.unit.look_alikes.contains(&look)
    }

    fn door(&mut self, hour: f64, minutes: f64) -> f64 {
        self.at(hour, Act::Door(true));
        let closed = hour + minutes / 60.0;
        self.at(closed, Act::Door(false));
        closed
    }

    fn set_point(&mut self) -> f64 {
        let of: &[f64] = match self.unit.service {
            Service::FrozenLongHaul => &[-20.0, -20.0, -22.0],
            Service::FrozenDelivery => &[-20.0],
            Service::ChilledDelivery => &[2.0],
            Service::FreshLongHaul => &[1.0, 4.0, 8.0],
            Service::Pharma => &[5.0],
        };
        of[self.chance.below(of.len())]
    }

    /// Switches on and cools the empty body, then loads. Returns when the door is closed again.
    fn pre_cool_and_load(&mut self, on: f64, door_open: f64, set_point: f64) -> f64 {
        self.at(on, Act::SetPoint(set_point));
        self.at(on + 0.01, Act::Power(true));
        if self.chance.happens(0.12) {
            self.at(on + 0.02, Act::SelfTest);
        }
        if self.unit.service.frozen() && self.chance.happens(0.06) {
            self.at(door_open - 0.5, Act::ManualDefrost);
        }
        let minutes = self.chance.within(22.0, 38.0);
        let closed = self.door(door_open, minutes);
        let rigid = self.unit.body == crate::Body::RigidBody;
        let (low, high, heat, breath) = match self.unit.service {
            Service::FrozenLongHaul | Service::FrozenDelivery => (13.0, 20.0, 1_900.0, 0.0),
            Service::ChilledDelivery => (8.0, 15.0, 3_500.0, 0.0),
            Service::FreshLongHaul => (13.0, 19.0, 3_700.0, self.chance.within(0.01, 0.04)),
            Service::Pharma => (3.0, 8.0, 2_500.0, 0.0),
        };
        let size = if rigid { 0.3 } else { 1.0 };
        let mass = self.chance.within(low, high) * 1_000.0 * size;
        let warm = self.likes(LookAlike::WarmLoads) || self.chance.happens(0.02);
        let usual = match self.unit.service {
            Service::FrozenLongHaul | Service::FrozenDelivery => 1.0,
            Service::ChilledDelivery => 1.8,
            Service::FreshLongHaul => 2.2,
            Service::Pharma => 0.7,
        };
        let above = if warm {
            self.chance.within(5.0, 9.0)
        } else {
            usual * (1.0 + 0.5 * self.chance.normal().abs())
        };
        let temperature = set_point + above;
        self.at(closed - 0.1, Act::Load { mass, heat, temperature, breath });
        closed
    }

    fn load_record(&mut self, from: f64, until: f64, set_point: f64) {
        let ms = |hour: f64| self.scenario.start + ((hour * 3600.0 - self.offset_s) * 1000.0).round() as i64;
        let (cargo, band_below, band_above) = match self.unit.service {
            Service::FrozenLongHaul | Service::FrozenDelivery => (CargoClass::Frozen, 5.0, 3.0),
            Service::ChilledDelivery => (CargoClass::Chilled, 2.0, 2.0),
            Service::FreshLongHaul => (CargoClass::FreshProduce, 1.5, 2.0),
            Service::Pharma => (CargoClass::Pharma, 3.0, 3.0),
        };
        let Ok(id) = Id::new(&format!("L-{}-{}", self.unit.id, self.plan.loads.len() + 1)) else {
            return;
        };
        let (from, until) = (ms(from), ms(until));
        if from >= self.scenario.end() || until <= from {
            return;
        }
        let unit = self.unit.id.clone();
        let mode = self.unit.service.running_mode();
        let running_mode = (!self.unit.service.frozen()).then_some(mode);
        self.plan.loads.push(Load {
            id,
            unit,
            from,
            until,
            cargo,
            set_point,
            band_below,
            band_above,
            running_mode,
        });
    }

    /// A delivery round on most working days; loaded the evening before where shore power is at hand.
    fn delivery_days(&mut self) {
        for day in 0..self.scenario.days {
            if self.weekday(day) == 6 || self.chance.happens(0.06) {
                continue;
            }
            let midnight = f64::from(day) * 24.0;
            let set_point = self.set_point();
            let depart = midnight + self.chance.within(5.0, 6.2);
            let evening = self.shore && day > 0;
            let on = if evening { midnight - 6.6 } else { depart - self.chance.within(2.6, 3.2) };
            let load_at = if evening { midnight - self.chance.within(4.4, 5.0) } else { depart - 0.9 };
            if self.shore {
                self.at(on - 0.02, Act::Shore(true));
                self.at(depart - 0.05, Act::Shore(false));
            }
            let loaded = self.pre_cool_and_load(on, load_at, set_point);
            let many = self.likes(LookAlike::ManyDoors);
            let stops = if many { 10 + self.chance.below(4) } else { 4 + self.chance.below(4) };
            let mut hour = depart;
            for stop in 0..stops {
                self.at(hour, Act::Moving(true));
                hour += if many { self.chance.within(0.2, 0.4) } else { self.chance.within(0.5, 1.1) };
                self.at(hour, Act::Moving(false));
                let minutes = self.chance.within(5.0, 11.0) * if many { 1.4 } else { 1.0 };
                hour = self.door(hour + 0.03, minutes) + 0.05;
                self.at(hour - 0.06, Act::Unload(1.0 / (stops - stop) as f64));
            }
            self.load_record(loaded, hour, set_point);
            self.at(hour, Act::Moving(true));
            hour = (hour + self.chance.within(0.3, 0.9)).min(midnight + 16.5);
            self.at(hour, Act::Moving(false));
            self.at(hour + 0.1, Act::Power(false));
        }
    }

    /// Trips of two or three days with a break every four and a half hours of driving and a night's rest.
    fn long_trips(&mut self) {
        let end = f64::from(self.scenario.days) * 24.0;
        let mut hour = self.chance.within(2.0, 30.0);
        while hour < end {
            let set_point = self.set_point();
            if self.shore {
                self.at(hour - 0.02, Act::Shore(true));
            }
            let loading = hour + self.chance.within(2.2, 3.4);
            let loaded = self.pre_cool_and_load(hour, loading, set_point);
            hour = loaded + 0.4;
            if self.shore {
                self.at(hour - 0.05, Act::Shore(false));
            }
            for _ in 0..2 + self.chance.below(2) {
                for rest in [0.75, 11.0] {
                    self.at(hour, Act::Moving(true));
                    hour += self.chance.within(3.6, 4.5);
                    self.at(hour, Act::Moving(false));
                    hour += rest;
                }
            }
            let minutes = self.chance.within(30.0, 50.0);
            hour = self.door(hour, minutes);
            self.at(hour - 0.1, Act::Unload(1.0));
            self.load_record(loaded, hour, set_point);
            self.at(hour + 0.1, Act::Power(false));
            hour += self.chance.within(7.0, 26.0);
        }
    }
}
