use std::sync::Arc;

use proptest::prelude::*;
use rimeline_archive::{
    Archive, ArchiveError, Contents, Day, LocalStore, Options, RowMeta, Snapshot, bucket_of,
};
use rimeline_channels::{
    Absence, Alarm, Batch, Channel, DAY_MS, Event, EventKind, Reading, Stage, State, Value,
};

use crate::support::{
    DAY, Row, batch, id, meta, on_disk, open, open_with, options, reading, stored, stored_brief,
};

#[test]
fn rows_added_again_from_any_earlier_position_are_stored_once() {
    let dir = tempfile::tempdir().unwrap();
    let archive = open(dir.path());
    let rows = |n: u64| batch([("U1", reading(DAY + n as i64, n as i32))]);
    for n in 0..4 {
        archive.add(&rows(n), meta(n)).unwrap();
    }
    archive.flush(4).unwrap();
    drop(archive);
    let archive = open(dir.path());
    assert_eq!(archive.position(), 4);
    for n in 0..6 {
        let added = archive.add(&rows(n), meta(n)).unwrap();
        assert_eq!(added.archived, n < 4);
    }
    archive.flush(6).unwrap();
    let expected: Vec<_> = (0..6).map(|n| ("U1".to_owned(), DAY + n, Some(n as i32))).collect();
    assert_eq!(stored_brief(dir.path()), expected);
}

#[test]
fn of_rows_of_one_unit_and_time_the_first_that_came_is_kept_and_the_rest_are_counted() {
    let dir = tempfile::tempdir().unwrap();
    let archive = open(dir.path());
    let twice = batch([("U1", reading(DAY, 1)), ("U1", reading(DAY, 2)), ("U2", reading(DAY, 3))]);
    archive.add(&twice, meta(0)).unwrap();
    archive.add(&batch([("U1", reading(DAY, 4))]), meta(1)).unwrap();
    assert_eq!(archive.flush(2).unwrap().duplicates, 2);
    assert_eq!(stored_brief(dir.path()), [("U1".to_owned(), DAY, Some(1)), ("U2".to_owned(), DAY, Some(3))]);
}

#[test]
fn rows_measured_before_the_bound_are_marked_late() {
    let dir = tempfile::tempdir().unwrap();
    let archive = open(dir.path());
    let rows = batch([("U1", reading(DAY - 1, 1)), ("U1", reading(DAY, 2))]);
    let meta = RowMeta { received_ms: DAY + 77, late_before_ms: DAY, position: 0 };
    assert_eq!(archive.add(&rows, meta).unwrap().late, 1);
    archive.flush(1).unwrap();
    let late: Vec<_> = stored(dir.path()).into_iter().map(|r| (r.late, r.received)).collect();
    assert_eq!(late, [(true, DAY + 77), (false, DAY + 77)]);
}

#[test]
fn why_a_channel_has_no_number_is_kept_for_every_reason() {
    let dir = tempfile::tempdir().unwrap();
    let archive = open(dir.path());
    let mut expected = Vec::new();
    for (i, absence) in Absence::ALL.into_iter().enumerate() {
        let mut row = reading(DAY + i as i64, i as i32);
        row.set(Channel::Coil, Value::Absent(absence));
        row.set(Channel::EngineHours, Value::Absent(absence));
        expected.push(row);
    }
    archive.add(&batch(expected.iter().map(|r| ("U1", r.clone()))), meta(0)).unwrap();
    archive.flush(1).unwrap();
    let kept: Vec<_> = stored(dir.path()).into_iter().map(|r| r.reading).collect();
    assert_eq!(kept, expected);
}

#[test]
fn rows_of_1970_and_of_the_far_future_land_in_their_own_days_and_harm_nothing() {
    let dir = tempfile::tempdir().unwrap();
    let archive = open(dir.path());
    let times = [0, -1, DAY, Day::END_MS - 1, Day::FIRST_MS];
    let mut rows = batch(times.map(|t| ("U1", reading(t, 7))));
    let beyond = [Day::END_MS, Day::FIRST_MS - 1, i64::MAX, i64::MIN];
    for (i, time) in beyond.into_iter().enumerate() {
        let row = reading(time, 9);
        let mut joined = Batch::default();
        let unit = joined.unit_index(&id("U1"));
        joined.push(unit, &row);
        joined.events.push(Event { unit, time, kind: EventKind::SetPointChanged(1) });
        let added = archive.add(&joined, meta(i as u64)).unwrap();
        assert_eq!((added.readings, added.events, added.refused), (0, 0, 2));
    }
    // A refused row in the middle takes none of its neighbours with it.
    rows.times[1] = i64::MAX;
    assert_eq!(archive.add(&rows, meta(10)).unwrap().refused, 1);
    archive.flush(11).unwrap();
    let mut kept: Vec<_> = stored_brief(dir.path()).into_iter().map(|r| r.1).collect();
    kept.sort_unstable();
    assert_eq!(kept, [Day::FIRST_MS, 0, DAY, Day::END_MS - 1]);
    let days: Vec<_> = on_disk(dir.path()).iter().map(|key| key[9..23].to_owned()).collect();
    assert_eq!(days, ["day=0001-01-01", "day=1970-01-01", "day=2026-01-31", "day=9999-12-31"]);
}

#[test]
fn events_of_every_kind_are_kept_and_a_repeated_one_is_dropped() {
    let dir = tempfile::tempdir().unwrap();
    let archive = open(dir.path());
    let alarm = |by_person| Alarm { code: "17".to_owned(), text: "high pressure ✓".to_owned(), by_person };
    let state = State { stage: Stage::Defrosting, inputs: 3, ..State::default() };
    let kinds = [
        EventKind::StateChanged(state),
        EventKind::SetPointChanged(-180),
        EventKind::AlarmRaised(alarm(false)),
        EventKind::AlarmCleared(alarm(true)),
    ];
    let mut sent = Batch::default();
    let unit = sent.unit_index(&id("U1"));
    let events = kinds.iter().chain(&kinds).map(|kind| Event { unit, time: DAY, kind: kind.clone() });
    sent.events.extend(events);
    archive.add(&sent, meta(0)).unwrap();
    assert_eq!(archive.flush(1).unwrap().duplicates, 4);
    let store = LocalStore::new(dir.path()).unwrap();
    let snapshot = archive.snapshot();
    let contents: Vec<_> = snapshot.files().map(|f| f.read(&store).unwrap()).collect();
    let kept: Vec<_> = contents.iter().flat_map(Contents::events).map(|e| e.kind.clone()).collect();
    assert_eq!(kept, kinds);
}

#[test]
fn the_tail_holds_what_no_file_holds_sorted_and_each_time_once() {
    let dir = tempfile::tempdir().unwrap();
    let archive = open(dir.path());
    let times = [3, 1, 2, 1];
    let rows = batch(times.iter().enumerate().map(|(i, t)| ("U1", reading(DAY + t, i as i32))));
    archive.add(&rows, meta(0)).unwrap();
    archive.add(&batch([("U2", reading(DAY, 9))]), meta(1)).unwrap();
    let view = archive.view(&id("U1"), DAY, DAY + 3);
    let tail: Vec<_> = view.tail.iter().map(|r| (r.time - DAY, r.fixed(Channel::ReturnAirControl))).collect();
    assert_eq!(tail, [(1, Some(1)), (2, Some(2))]);
    assert_eq!(view.snapshot.files().count(), 0);
    archive.flush(2).unwrap();
    assert!(archive.tail(&id("U1"), i64::MIN, i64::MAX).is_empty());
    assert!(archive.tail(&id("unknown"), i64::MIN, i64::MAX).is_empty());
}

#[test]
fn a_full_buffer_refuses_a_batch_until_it_is_flushed() {
    let dir = tempfile::tempdir().unwrap();
    let archive = open_with(dir.path(), Options { flush_rows: 2, max_rows: 3, ..options() });
    let two = |n: i64| batch([("U1", reading(DAY + n, 0)), ("U2", reading(DAY + n, 0))]);
    archive.add(&two(0), meta(0)).unwrap();
    assert!(archive.is_full());
    let error = archive.add(&two(1), meta(1)).unwrap_err();
    assert!(matches!(error, ArchiveError::Full { rows: 2 }), "{error}");
    archive.flush(1).unwrap();
    archive.add(&two(1), meta(1)).unwrap();
    archive.flush(2).unwrap();
    assert_eq!(stored(dir.path()).len(), 4);
}

#[test]
fn positions_that_run_backwards_and_batches_that_do_not_fit_together_are_refused() {
    let dir = tempfile::tempdir().unwrap();
    let archive = open(dir.path());
    let rows = batch([("U1", reading(DAY, 0))]);
    archive.add(&rows, meta(5)).unwrap();
    assert!(matches!(archive.add(&rows, meta(4)), Err(ArchiveError::Order { given: 4, reached: 5 })));
    assert!(matches!(archive.flush(5), Err(ArchiveError::Order { given: 5, reached: 6 })));
    let mut odd = rows.clone();
    odd.states.clear();
    let error = archive.add(&odd, meta(6)).unwrap_err();
    assert!(error.to_string().contains("position 6") && error.to_string().contains("states"), "{error}");
    archive.flush(6).unwrap();
    assert!(matches!(archive.flush(3), Err(ArchiveError::Order { given: 3, reached: 6 })));
}

#[test]
fn a_flush_without_rows_moves_the_position_and_writes_no_file() {
    let dir = tempfile::tempdir().unwrap();
    let archive = open(dir.path());
    assert_eq!(archive.flush(9).unwrap().files, 0);
    drop(archive);
    assert_eq!(open(dir.path()).position(), 9);
    assert!(on_disk(dir.path()).is_empty());
}

fn any_value() -> impl Strategy<Value = Value> {
    prop_oneof![
        4 => any::<i32>().prop_map(Value::Number),
        2 => (0..5usize).prop_map(|i| Value::Absent(Absence::ALL[i])),
    ]
}

fn any_reading() -> impl Strategy<Value = Reading> {
    let time = prop_oneof![DAY..DAY + 40, DAY - DAY_MS..DAY + DAY_MS, Day::FIRST_MS..Day::END_MS];
    let values = prop::collection::btree_map(0..Channel::COUNT, any_value(), 0..6);
    let state = (any::<u8>(), any::<u8>(), 0..=8i32, 0..=2i32);
    (time, values, state).prop_map(|(time, values, (inputs, outputs, stage, door))| {
        let mut state = State { inputs, outputs, ..State::default() };
        state.stage = Stage::from_number(stage).unwrap();
        state.door = rimeline_channels::Door::from_number(door).unwrap();
        let mut reading = Reading::new(time, state);
        for (channel, value) in values {
            reading.set(Channel::ALL[channel], value);
        }
        reading
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, ..ProptestConfig::default() })]
    #[test]
    fn every_row_that_goes_in_comes_out_once_and_unchanged_after_flushes_and_merges(
        batches in prop::collection::vec(prop::collection::vec((0..5usize, any_reading()), 1..20), 1..8),
        flush_at in prop::collection::vec(any::<bool>(), 8),
        buckets in 1..6u16,
    ) {
        let dir = tempfile::tempdir().unwrap();
        let store = Arc::new(LocalStore::new(dir.path()).unwrap());
        let options = Options { buckets, merge_files: 2, ..Options::default() };
        let archive = Archive::open(store.clone(), options).unwrap();
        let units = ["A", "B", "TR-1", "TR-2", "z"];
        let mut expected: Vec<Row> = Vec::new();
        for (n, rows) in batches.iter().enumerate() {
            let rows: Vec<_> = rows.iter().map(|(u, r)| (units[*u], r.clone())).collect();
            let meta = RowMeta { received_ms: n as i64, late_before_ms: DAY, position: n as u64 };
            archive.add(&batch(rows.clone()), meta).unwrap();
            for (unit, reading) in rows {
                if !expected.iter().any(|r| r.unit == unit && r.reading.time == reading.time) {
                    let late = reading.time < DAY;
                    expected.push(Row { unit: unit.to_owned(), late, received: n as i64, reading });
                }
            }
            if flush_at[n] {
                archive.flush(n as u64 + 1).unwrap();
            }
        }
        archive.flush(batches.len() as u64).unwrap();
        for partition in archive.compact_due(Day(i32::MAX)) {
            archive.compact(partition).unwrap();
        }
        expected.sort_by(|a, b| (&a.unit, a.reading.time).cmp(&(&b.unit, b.reading.time)));
        prop_assert_eq!(stored(dir.path()), expected);
        prop_assert!(archive.verify().unwrap().is_clean());
        for file in Snapshot::load(store.as_ref()).unwrap().files() {
            for row in file.read(store.as_ref()).unwrap().readings() {
                prop_assert_eq!(bucket_of(row.unit, buckets), file.partition.bucket);
                prop_assert_eq!(Day::of(row.reading.time), file.partition.day);
                prop_assert!((file.min_time..=file.max_time).contains(&row.reading.time));
                let unit = row.unit.as_str();
                prop_assert!((file.min_unit.as_str()..=file.max_unit.as_str()).contains(&unit));
            }
        }
    }
}
