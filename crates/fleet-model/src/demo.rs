//! The named scenarios. All names are invented.

use rimeline_channels::{Channel, DAY_MS};

use crate::{
    CadenceShare, Course, Depot, Fault, FaultKind, HeatWave, LookAlike, PressureReference, Refrigerant,
    Scenario, Service, UnitChoice,
};

/// Monday, 4 May 2026, 00:00 UTC.
const DEMO_START: i64 = 20_577 * DAY_MS;

fn depot(name: &str, ahead: i32, altitude_m: f64, mean_c: f64, humidity: f64) -> Depot {
    Depot {
        name: name.to_owned(),
        // The database counts these zones westwards, so their sign is the opposite.
        time_zone: if ahead == 0 { "Etc/UTC".to_owned() } else { format!("Etc/GMT-{ahead}") },
        utc_offset_h: f64::from(ahead),
        altitude_m,
        mean_c,
        season_k: 4.0,
        diurnal_k: 5.0,
        spells_k: 3.0,
        humidity,
        heat_waves: Vec::new(),
    }
}

fn fault(unit: u32, kind: FaultKind, onset_day: f64, course: Course) -> Fault {
    Fault { unit, kind, channel: None, onset_day, course, breakdown_day: None, repaired_day: None }
}

fn ramp(peak: f64, days: f64) -> Course {
    Course::Ramp { peak, days }
}

impl Fault {
    fn on(self, channel: Channel) -> Self {
        Self { channel: Some(channel), ..self }
    }

    fn breaks(self, day: f64) -> Self {
        Self { breakdown_day: Some(day), ..self }
    }

    fn cured(self, day: f64) -> Self {
        Self { repaired_day: Some(day), ..self }
    }
}

impl Scenario {
    /// Sixty units over sixty days at three invented depots; from day 30 on sixteen of them fail in different ways,
    /// while others only look as if they did.
    pub fn demo() -> Self {
        let mut depots = vec![
            depot("Alderwick", 1, 40.0, 15.0, 0.68),
            depot("Brineholm", 2, 10.0, 18.0, 0.72),
            depot("Highmarrow", 1, 1250.0, 12.0, 0.55),
        ];
        depots[1].heat_waves.push(HeatWave { from_day: 38.0, days: 7.0, above_k: 11.0 });
        Self {
            name: "demo".to_owned(),
            seed: 2_026,
            start: DEMO_START,
            days: 60,
            units: 60,
            cadences: vec![
                CadenceShare { cadence_s: 300, share: 46.0 },
                CadenceShare { cadence_s: 120, share: 6.0 },
                CadenceShare { cadence_s: 900, share: 6.0 },
                CadenceShare { cadence_s: 60, share: 2.0 },
            ],
            depots,
            choices: demo_choices(),
            faults: demo_faults(),
        }
    }

    /// A fleet of healthy units for tests: one depot, 5-minute readings, no faults.
    pub fn small(units: u32, days: u32, seed: u64) -> Self {
        Self {
            name: "small".to_owned(),
            seed,
            start: DEMO_START,
            days,
            units,
            cadences: Vec::new(),
            depots: vec![depot("Cinderby", 1, 60.0, 17.0, 0.65)],
            choices: Vec::new(),
            faults: Vec::new(),
        }
    }

    /// The same scenario with a fault more.
    #[must_use]
    pub fn with_fault(mut self, fault: Fault) -> Self {
        self.faults.push(fault);
        self
    }

    /// The same scenario with a unit more that is not left to chance.
    #[must_use]
    pub fn with_choice(mut self, choice: UnitChoice) -> Self {
        self.choices.push(choice);
        self
    }
}

fn demo_choices() -> Vec<UnitChoice> {
    let unit =
        |unit: u32, service: Service| UnitChoice { unit, service: Some(service), ..UnitChoice::default() };
    let odd = |at: u32, service: Service, look: LookAlike| UnitChoice {
        look_alikes: vec![look],
        ..unit(at, service)
    };
    let with_sensors = |c: UnitChoice| UnitChoice { twins: Some(true), pressures: Some(true), ..c };
    let every = |s: u32, c: UnitChoice| UnitChoice { cadence_s: Some(s), ..c };
    vec![
        // Units that fail.
        with_sensors(every(300, unit(4, Service::FrozenLongHaul))),
        with_sensors(every(300, unit(7, Service::FrozenDelivery))),
        with_sensors(every(300, unit(10, Service::FrozenLongHaul))),
        with_sensors(every(300, unit(13, Service::FrozenDelivery))),
        with_sensors(every(120, unit(17, Service::FrozenLongHaul))),
        with_sensors(every(300, unit(20, Service::FrozenLongHaul))),
        with_sensors(every(300, unit(23, Service::FrozenDelivery))),
        with_sensors(every(300, unit(27, Service::ChilledDelivery))),
        with_sensors(every(300, unit(30, Service::FreshLongHaul))),
        with_sensors(every(300, unit(34, Service::Pharma))),
        with_sensors(every(300, unit(37, Service::ChilledDelivery))),
        with_sensors(every(120, unit(41, Service::FrozenDelivery))),
        with_sensors(every(300, unit(44, Service::FrozenLongHaul))),
        with_sensors(every(300, unit(48, Service::FrozenDelivery))),
        every(300, unit(52, Service::ChilledDelivery)),
        with_sensors(every(300, unit(55, Service::FreshLongHaul))),
        // Units that are healthy and odd.
        with_sensors(odd(1, Service::FrozenDelivery, LookAlike::TightBand)),
        odd(5, Service::ChilledDelivery, LookAlike::WarmLoads),
        odd(8, Service::FrozenLongHaul, LookAlike::NoseToTail),
        odd(14, Service::FrozenDelivery, LookAlike::ManyDoors),
        odd(19, Service::FreshLongHaul, LookAlike::CoverageGaps),
        odd(22, Service::FrozenLongHaul, LookAlike::SunnyAmbientProbe),
        odd(29, Service::FrozenLongHaul, LookAlike::WarmLoads),
        odd(35, Service::ChilledDelivery, LookAlike::SunnyAmbientProbe),
        odd(40, Service::FrozenLongHaul, LookAlike::CoverageGaps),
        odd(46, Service::ChilledDelivery, LookAlike::ManyDoors),
        odd(50, Service::FrozenLongHaul, LookAlike::NoseToTail),
        UnitChoice {
            refrigerant: Some(Refrigerant::R404A),
            pressure_reference: Some(PressureReference::VentedGauge),
            ..unit(2, Service::FrozenLongHaul)
        },
        UnitChoice { resolution_k: Some(1.0), ..unit(25, Service::FrozenLongHaul) },
        UnitChoice { pressures: Some(false), ..unit(31, Service::FrozenDelivery) },
        UnitChoice { twins: Some(false), ..unit(43, Service::Pharma) },
    ]
}

fn demo_faults() -> Vec<Fault> {
    use Channel::{CargoProbe1, DischargePressure, ReturnAirCheck, SupplyAirCheck, SupplyAirControl};
    use FaultKind as K;
    vec![
        fault(4, K::CondenserFouling, 30.0, ramp(1.0, 26.0)).breaks(56.0),
        fault(7, K::CondenserFan, 41.3, Course::Step(0.65)).cured(50.4),
        fault(10, K::LowCharge, 31.0, ramp(1.0, 27.0)).breaks(58.0),
        fault(13, K::CompressorWear, 32.0, ramp(0.95, 24.0)).breaks(57.0),
        fault(17, K::BandTooTight, 36.4, Course::Step(0.9)),
        fault(20, K::ControlSensorInSupplyAir, 39.6, Course::Step(0.8)),
        fault(23, K::IcedCoil, 34.0, ramp(0.9, 12.0)),
        fault(27, K::SensorDrift, 31.5, ramp(0.9, 22.0)).on(ReturnAirCheck),
        fault(30, K::SensorStuck, 43.2, Course::Step(1.0)).on(SupplyAirControl),
        fault(34, K::SensorOpen, 45.7, Course::Step(1.0)).on(SupplyAirCheck),
        fault(37, K::SensorNoise, 37.0, Course::Step(0.7)).on(SupplyAirCheck),
        fault(41, K::SensorSpiking, 40.2, ramp(0.9, 6.0)).on(ReturnAirCheck),
        fault(44, K::PressureOffset, 38.5, Course::Step(0.8)).on(DischargePressure),
        fault(48, K::DoorSeal, 33.0, ramp(0.8, 10.0)),
        fault(52, K::GatewaySilent, 52.4, Course::Step(1.0)),
        fault(55, K::LeftOffAfterDefrost, 57.1, Course::Step(1.0)),
        fault(55, K::SensorShort, 47.8, Course::Step(1.0)).on(CargoProbe1),
    ]
}
