//! Scenarios: the demo is what it says, files are read back, and bad ones are refused with a reason.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod common;

use std::collections::BTreeSet;

use rimeline_channels::{Channel, DAY_MS};
use rimeline_fleet_model::{CargoClass, Course, Fault, FaultKind, Fleet, Scenario, UnitChoice};

#[test]
fn the_demo_is_sixty_units_over_sixty_days_of_which_a_dozen_and_more_fail_after_day_thirty() {
    let scenario = Scenario::demo();
    assert_eq!((scenario.units, scenario.days), (60, 60));
    let fleet = Fleet::new(&scenario).unwrap();
    let failing: BTreeSet<_> = fleet.truth().iter().map(|t| t.unit.clone()).collect();
    assert!((12..=20).contains(&failing.len()), "{}", failing.len());
    let kinds: BTreeSet<_> = fleet.truth().iter().map(|t| format!("{:?}", t.kind)).collect();
    assert!(kinds.len() >= 12, "{kinds:?}");
    assert!(fleet.truth().iter().all(|t| t.onset_ms >= scenario.start + 30 * DAY_MS));
    assert!(fleet.truth().iter().all(|t| t.onset_ms < scenario.end()));
    let cadence = |s: u32| fleet.units().iter().filter(|u| u.cadence_s == s).count();
    assert!(cadence(300) > 40 && cadence(120) >= 4 && cadence(900) >= 3 && (1..=3).contains(&cadence(60)));
    let readings: usize = fleet.units().iter().map(|u| 60 * 86_400 / u.cadence_s as usize).sum();
    assert!((900_000..2_000_000).contains(&readings), "{readings}");
    assert!(fleet.units().iter().any(|u| !u.has(Channel::Coil)));
    assert!(fleet.units().iter().any(|u| !u.has(Channel::DischargePressure)));
    assert!(fleet.units().iter().any(|u| !u.look_alikes.is_empty() && !failing.contains(&u.id)));
}

#[test]
fn loads_of_a_unit_follow_one_another_and_are_carried_at_their_set_point() {
    let scenario = Scenario::small(10, 12, 4);
    let fleet = Fleet::new(&scenario).unwrap();
    assert!(fleet.loads().is_sorted_by_key(|l| l.from));
    let names: BTreeSet<_> = fleet.loads().iter().map(|l| l.id.clone()).collect();
    assert_eq!(names.len(), fleet.loads().len());
    let (units, loads) = (fleet.units().to_vec(), fleet.loads().to_vec());
    for (unit, mut stream) in units.iter().zip(fleet.into_streams()) {
        let own: Vec<_> = loads.iter().filter(|l| l.unit == unit.id).collect();
        assert!(own.len() >= 3, "{} carries {} loads", unit.id, own.len());
        assert!(own.windows(2).all(|w| w[0].until <= w[1].from), "{} carries two loads at once", unit.id);
        assert!(own.iter().all(|l| l.cargo != CargoClass::Empty && l.from < l.until));
        while let Some(delivery) = stream.next_delivery() {
            let r = delivery.reading;
            if let Some(load) = own.iter().find(|l| (l.from..l.until).contains(&r.time)) {
                assert_eq!(r.quantity(Channel::SetPoint), Some(load.set_point), "{}", unit.id);
                assert_eq!(r.state.power, rimeline_channels::Power::On, "{} is off with a load", unit.id);
            }
        }
    }
}

#[test]
fn a_scenario_survives_its_file_and_unknown_fields_are_refused() {
    let text = serde_json::to_string(&Scenario::demo()).unwrap();
    assert_eq!(serde_json::from_str::<Scenario>(&text).unwrap(), Scenario::demo());
    let odd = text.replacen("\"seed\"", "\"sed\"", 1);
    let error = serde_json::from_str::<Scenario>(&odd).unwrap_err().to_string();
    assert!(error.contains("sed"), "{error}");
}

#[test]
fn the_largest_scenario_passes_and_one_unit_or_day_more_does_not() {
    let mut scenario = Scenario::small(Scenario::MOST_UNITS, Scenario::MOST_DAYS, 1);
    assert_eq!(scenario.check(), Ok(()));
    scenario.units += 1;
    assert!(scenario.check().unwrap_err().to_string().contains("20001 units"));
    scenario.units = 1;
    scenario.days += 1;
    assert!(scenario.check().unwrap_err().to_string().contains("3661 days"));
}

#[test]
fn what_cannot_be_simulated_is_refused_with_the_reason() {
    let good = || Scenario::small(2, 2, 1);
    let fault = |unit: u32, kind, channel, level: f64, day: f64| Fault {
        unit,
        kind,
        channel,
        onset_day: day,
        course: Course::Step(level),
        breakdown_day: None,
        repaired_day: None,
    };
    let wear = FaultKind::CompressorWear;
    let bad: Vec<(Scenario, &str)> = vec![
        (Scenario { units: 0, ..good() }, "0 units"),
        (Scenario { days: 0, ..good() }, "0 days"),
        (Scenario { depots: Vec::new(), ..good() }, "no depot"),
        (good().with_choice(UnitChoice { unit: 2, ..UnitChoice::default() }), "choice for unit 2"),
        (good().with_choice(UnitChoice { cadence_s: Some(90), ..UnitChoice::default() }), "cadence of 90 s"),
        (good().with_choice(UnitChoice { cadence_s: Some(0), ..UnitChoice::default() }), "cadence of 0 s"),
        (good().with_fault(fault(2, wear, None, 0.5, 1.0)), "there are 2 units"),
        (good().with_fault(fault(0, FaultKind::SensorOpen, None, 0.5, 1.0)), "needs a channel"),
        (good().with_fault(fault(0, wear, Some(Channel::Coil), 0.5, 1.0)), "takes no channel"),
        (good().with_fault(fault(0, wear, None, 1.5, 1.0)), "outside 0 to 1"),
        (good().with_fault(fault(0, wear, None, 0.5, -1.0)), "negative"),
        (good().with_fault(fault(0, wear, None, 0.5, f64::NAN)), "no number"),
        (
            good().with_fault(Fault { repaired_day: Some(0.5), ..fault(0, wear, None, 0.5, 1.0) }),
            "before its onset",
        ),
    ];
    for (scenario, reason) in bad {
        let error = Fleet::new(&scenario).err().unwrap().to_string();
        assert!(error.contains(reason), "`{error}` does not say `{reason}`");
        assert!(error.contains("scenario `small`"), "{error}");
    }
    let mut humid = good();
    humid.depots[0].humidity = 1.5;
    assert!(humid.check().unwrap_err().to_string().contains("Cinderby"));
}
