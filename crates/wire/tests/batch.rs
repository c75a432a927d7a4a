//! What a gateway may send, and what becomes of it.
#![allow(clippy::unwrap_used)]

use proptest::prelude::*;
use rimeline_channels::{Absence, Alarm, Batch, Channel, Event, EventKind, Id, Reading, Stage, State, Value};
use rimeline_wire::batch::{Bounds, check, read_stored, write};
use rimeline_wire::pb::{self, RefusalReason, RefusedItem};

const BOUNDS: Bounds =
    Bounds { max_rows: 100, max_units: 10, max_events: 10, oldest_ms: 1_000_000, newest_ms: 2_000_000 };

/// The worked example of the contract: two readings a minute apart, return air 2.5 and 2.6 Cel, coil not fitted.
fn example() -> pb::Batch {
    pb::Batch {
        sequence: 1,
        units: vec!["A".into()],
        base_time_ms: 1_000_000,
        time_delta_ms: vec![0, 60_000],
        channels: vec![Channel::ReturnAirControl.number(), Channel::Coil.number()],
        deltas: vec![25, 1, 0, 0],
        absences: vec![pb::Absence {
            column: 1,
            first_row: 0,
            rows: 2,
            status: pb::Status::NotFitted as i32,
        }],
        ..Default::default()
    }
}

fn reasons(message: &pb::Batch) -> Vec<(RefusedItem, u32, u32, RefusalReason, String)> {
    let one = |r: &pb::Refusal| (r.item(), r.index, r.count, r.reason(), r.field.clone());
    check(message, &BOUNDS).refusals.iter().map(one).collect()
}

#[test]
fn the_worked_example_reads_as_the_contract_says() {
    let checked = check(&example(), &BOUNDS);
    assert_eq!(checked.refusals, []);
    let mut row = Reading::default();
    checked.batch.read_row(1, &mut row);
    assert_eq!(row.time, 1_060_000);
    assert_eq!(row.quantity(Channel::ReturnAirControl), Some(2.6));
    assert_eq!(row.get(Channel::Coil), Value::Absent(Absence::NotFitted));
    assert_eq!(row.get(Channel::AmbientAir), Value::Absent(Absence::NotReported));
}

#[test]
fn a_bad_unit_id_costs_its_own_rows_only() {
    let mut message = example();
    message.units.push("not an id".into());
    message.unit_index = vec![0, 1];
    assert_eq!(reasons(&message), [(RefusedItem::Row, 1, 1, RefusalReason::BadUnitId, "units".into())]);
    assert_eq!(check(&message, &BOUNDS).batch.rows(), 1);
}

#[test]
fn rows_from_1970_and_2100_are_refused_one_by_one_and_neighbours_are_kept() {
    let mut message = example();
    message.time_delta_ms = vec![-999_000, 1_020_000, 4_000_000_000_000, -4_000_000_000_000];
    message.deltas = vec![25, 1, 1, 1, 0, 0, 0, 0];
    assert_eq!(
        reasons(&message),
        [
            (RefusedItem::Row, 0, 1, RefusalReason::TimeTooOld, "time_delta_ms".into()),
            (RefusedItem::Row, 2, 1, RefusalReason::TimeInFuture, "time_delta_ms".into()),
        ]
    );
    let batch = check(&message, &BOUNDS).batch;
    assert_eq!(batch.times, [1_021_000, 1_021_000]);
    assert_eq!(batch.columns[0].values, [26, 28], "deltas run over refused rows too");
}

#[test]
fn an_unknown_channel_costs_its_column_only() {
    let mut message = example();
    message.channels[1] = 999;
    assert_eq!(
        reasons(&message),
        [(RefusedItem::Column, 1, 1, RefusalReason::UnknownChannel, "channels".into())]
    );
    assert_eq!(check(&message, &BOUNDS).batch.rows(), 2);
}

#[test]
fn unknown_enumerations_are_taken_as_unknown_and_named() {
    let mut message = example();
    message.absences[0].status = 77;
    message.states = vec![pb::State { stage: 88, power: 2, ..Default::default() }];
    let found = reasons(&message);
    assert!(
        found.contains(&(RefusedItem::Row, 0, 1, RefusalReason::UnknownState, "states".into())),
        "{found:?}"
    );
    assert!(
        found.contains(&(RefusedItem::Value, 0, 1, RefusalReason::UnknownStatus, "absences".into())),
        "{found:?}"
    );
    let batch = check(&message, &BOUNDS).batch;
    assert_eq!(batch.states[0].stage, Stage::Unknown);
    assert_eq!(batch.columns[1].get(0), Value::Absent(Absence::NotReported));
}

#[test]
fn lengths_that_do_not_fit_refuse_the_readings_and_keep_the_events() {
    let mut message = example();
    message.deltas.pop();
    message.events = vec![pb::Event {
        unit_index: 0,
        time_ms: 1_500_000,
        what: Some(pb::event::What::SetPointChanged(-200)),
    }];
    assert_eq!(reasons(&message), [(RefusedItem::Batch, 0, 1, RefusalReason::BadLength, "deltas".into())]);
    let batch = check(&message, &BOUNDS).batch;
    assert_eq!((batch.rows(), batch.events.len()), (0, 1));
}

#[test]
fn every_limit_of_a_batch_is_reached_at_its_figure() {
    let rows = |n: usize| pb::Batch {
        time_delta_ms: vec![0; n],
        deltas: vec![0; 2 * n],
        absences: vec![],
        ..example()
    };
    assert_eq!(reasons(&rows(100)), []);
    assert_eq!(
        reasons(&rows(101)),
        [(RefusedItem::Batch, 0, 1, RefusalReason::TooLarge, "time_delta_ms".into())]
    );
    let units = |n: usize| pb::Batch { units: (0..n).map(|i| format!("U{i}")).collect(), ..example() };
    assert_eq!(reasons(&units(10)), []);
    assert_eq!(reasons(&units(11)), [(RefusedItem::Batch, 0, 1, RefusalReason::TooLarge, "units".into())]);
    let event =
        pb::Event { unit_index: 0, time_ms: 1_500_000, what: Some(pb::event::What::SetPointChanged(1)) };
    let events = |n: usize| pb::Batch { events: vec![event.clone(); n], ..example() };
    assert_eq!(reasons(&events(10)), []);
    assert_eq!(reasons(&events(11)), [(RefusedItem::Batch, 0, 1, RefusalReason::TooLarge, "events".into())]);
}

#[test]
fn a_value_beyond_32_bits_is_stored_as_failed_and_the_row_is_kept() {
    let mut message = example();
    message.deltas[0] = i32::MAX;
    assert_eq!(
        reasons(&message),
        [(RefusedItem::Value, 1, 1, RefusalReason::ValueOutOfStorageRange, "deltas".into())]
    );
    let batch = check(&message, &BOUNDS).batch;
    assert_eq!(batch.columns[0].get(0), Value::Number(i32::MAX));
    assert_eq!(batch.columns[0].get(1), Value::Absent(Absence::FailedOther));
}

#[test]
fn an_alarm_text_may_be_long_but_not_endless() {
    let alarm = |n: usize| pb::Batch {
        events: vec![pb::Event {
            unit_index: 0,
            time_ms: 1_500_000,
            what: Some(pb::event::What::AlarmRaised(pb::Alarm { text: "x".repeat(n), ..Default::default() })),
        }],
        ..example()
    };
    assert_eq!(reasons(&alarm(256)), []);
    assert_eq!(
        reasons(&alarm(257)),
        [(RefusedItem::Event, 0, 1, RefusalReason::BadEvent, "events.what".into())]
    );
}

fn any_batch() -> impl Strategy<Value = Batch> {
    let value = prop_oneof![
        4 => (-3000..3000_i32).prop_map(Value::Number),
        2 => (0..5usize).prop_map(|i| Value::Absent(Absence::ALL[i])),
    ];
    let row = (0..4u8, 0..1_000_000_i64, 0..9i32, prop::collection::vec(value, 6));
    prop::collection::vec(row, 0..40).prop_map(|rows| {
        let mut batch = Batch::default();
        for (unit, time, stage, values) in rows {
            let unit = batch.unit_index(&Id::new(&format!("U{unit}")).unwrap());
            let state = State { stage: Stage::from_number(stage).unwrap(), ..State::default() };
            let mut reading = Reading::new(time, state);
            for (channel, value) in Channel::ALL.iter().zip(values) {
                reading.set(*channel, value);
            }
            batch.push(unit, &reading);
        }
        if !batch.units.is_empty() {
            let kind =
                EventKind::AlarmRaised(Alarm { code: "7".into(), text: "door".into(), by_person: false });
            batch.events.push(Event { unit: 0, time: 3, kind });
        }
        batch
    })
}

proptest! {
    #[test]
    fn what_is_written_is_what_is_read(batch in any_batch()) {
        let back = read_stored(&write(&batch, 1));
        let mut a = Reading::default();
        let mut b = Reading::default();
        prop_assert_eq!(batch.rows(), back.rows());
        prop_assert_eq!(&batch.events, &back.events);
        for row in 0..batch.rows() {
            batch.read_row(row, &mut a);
            back.read_row(row, &mut b);
            prop_assert_eq!(batch.unit(row), back.unit(row));
            prop_assert_eq!(&a, &b);
        }
    }

    /// Whatever the integers are, the answer is a batch whose parts fit together.
    #[test]
    fn no_message_breaks_the_reader(
        unit_index in prop::collection::vec(0..4u32, 0..6),
        time_delta_ms in prop::collection::vec(any::<i64>(), 0..6),
        state_index in prop::collection::vec(0..4u32, 0..6),
        channels in prop::collection::vec(-5..50i32, 0..4),
        deltas in prop::collection::vec(any::<i32>(), 0..24),
        absences in prop::collection::vec((0..5u32, 0..8u32, any::<u32>(), -3..9i32), 0..5),
    ) {
        let absences = absences.into_iter()
            .map(|(column, first_row, rows, status)| pb::Absence { column, first_row, rows, status }).collect();
        let message = pb::Batch {
            units: vec!["A".into(), "?".into()], unit_index, base_time_ms: 1_500_000, time_delta_ms,
            states: vec![pb::State::default()], state_index, channels, deltas, absences, ..Default::default()
        };
        prop_assert_eq!(check(&message, &BOUNDS).batch.check(), Ok(()));
        prop_assert_eq!(read_stored(&message).check(), Ok(()));
    }
}
