//! The same scenario gives the same readings, and what one unit does is no other unit's business.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod common;

use rimeline_channels::{Channel, Event, Reading};
use rimeline_fleet_model::{FaultKind, Fleet, Scenario, Service};

type Told = Vec<(usize, i64, Reading, Vec<Event>)>;

fn play(scenario: &Scenario) -> Told {
    let mut fleet = Fleet::new(scenario).unwrap();
    let mut told = Vec::new();
    while let Some(d) = fleet.next_delivery() {
        told.push((d.unit, d.arrived, d.reading.clone(), d.events.to_vec()));
    }
    told
}

#[test]
fn equal_scenarios_give_equal_readings_and_another_seed_gives_others() {
    let scenario = Scenario::small(4, 3, 7);
    let first = play(&scenario);
    assert_eq!(first, play(&scenario));
    assert_ne!(first, play(&Scenario::small(4, 3, 8)));
}

#[test]
fn streams_of_single_units_tell_the_same_as_the_fleet_in_order_of_arrival() {
    let scenario = Scenario::small(4, 3, 7);
    let merged = play(&scenario);
    assert!(merged.is_sorted_by_key(|t| t.1), "deliveries come in order of arrival");
    let streams = Fleet::new(&scenario).unwrap().into_streams();
    for (unit, mut stream) in streams.into_iter().enumerate() {
        let mut own = merged.iter().filter(|t| t.0 == unit);
        while let Some(d) = stream.next_delivery() {
            let (_, arrived, reading, events) = own.next().unwrap();
            assert_eq!(
                (d.unit, d.arrived, d.reading, d.events),
                (unit, *arrived, reading, events.as_slice())
            );
        }
        assert!(own.next().is_none());
    }
}

#[test]
fn streams_taken_from_a_fleet_that_has_begun_go_on_where_it_stood() {
    let scenario = Scenario::small(3, 2, 7);
    let merged = play(&scenario);
    let mut fleet = Fleet::new(&scenario).unwrap();
    for _ in 0..100 {
        fleet.next_delivery().unwrap();
    }
    let mut rest = 0;
    for mut stream in fleet.into_streams() {
        while let Some(d) = stream.next_delivery() {
            assert!(merged[100..].iter().any(|t| t.0 == d.unit && t.2.time == d.reading.time));
            rest += 1;
        }
    }
    assert_eq!(rest + 100, merged.len());
}

#[test]
fn a_unit_more_changes_none_of_the_others() {
    let few: Vec<_> = play(&Scenario::small(3, 2, 7));
    let more: Vec<_> = play(&Scenario::small(4, 2, 7)).into_iter().filter(|t| t.0 < 3).collect();
    assert_eq!(few, more);
}

#[test]
fn a_fault_changes_nothing_before_its_onset() {
    let healthy = common::one_unit(Service::FrozenDelivery, 8);
    let plain = common::readings(&healthy);
    for kind in FaultKind::ALL {
        let channel = match kind {
            FaultKind::PressureOffset => Some(Channel::DischargePressure),
            k if k.of_a_channel() => Some(Channel::ReturnAirControl),
            _ => None,
        };
        let faulty =
            common::readings(&healthy.clone().with_fault(common::step_fault(kind, channel, 5.2, 1.0)));
        let onset = healthy.day_ms(5.2);
        let before = plain.iter().filter(|r| r.time < onset);
        assert!(before.eq(faulty.iter().filter(|r| r.time < onset)), "{kind:?}");
        assert!(plain != faulty, "{kind:?} does nothing at all");
    }
}
