use rimeline_archive::{Archive, Day};
use rimeline_channels::{
    Batch, Channel, Compressor, DAY_MS, HOUR_MS, Id, MINUTE_MS, Power, Reading, RunningMode, Stage, State,
    Value,
};
use rimeline_history::{History, HistoryError, UnitDay};

use crate::support::{DAY, add, batch, id, open, reading};

const AIR: Channel = Channel::ReturnAirControl;
const STARTS: Channel = Channel::CompressorStarts;

fn running(time: i64, compressor: Compressor) -> Reading {
    Reading::new(time, State { compressor, ..State::default() })
}

fn day(history: &History, unit: &str) -> UnitDay {
    let days = history.daily(Some(&id(unit)), Day::of(DAY), Day(Day::of(DAY).0 + 1)).unwrap();
    assert_eq!(days.len(), 1);
    days.into_iter().next().unwrap()
}

#[test]
fn a_day_counts_rows_median_duty_and_starts() {
    let dir = tempfile::tempdir().unwrap();
    let archive = open(dir.path());
    let cycle = [Compressor::Stopped, Compressor::Running, Compressor::Running, Compressor::Unknown];
    let rows = (0..8).map(|n: i64| {
        let mut row = running(DAY + n * MINUTE_MS, cycle[(n % 4) as usize]);
        if n != 3 {
            row.set(AIR, Value::Number([10, 500, 30, 0, -40, 20, 25, 15][n as usize]));
        }
        ("U1", row)
    });
    add(&archive, 0, &batch(rows));
    archive.flush(1).unwrap();
    let found = day(&History::of_archive(archive), "U1");
    // Sorted numbers: -4.0 1.0 1.5 2.0 2.5 3.0 50.0. Known: stopped twice, running four times.
    let expected = UnitDay {
        unit: id("U1"),
        day: Day::of(DAY),
        rows: 8,
        return_air_median: Some(2.0),
        duty: Some(4.0 / 6.0),
        starts: Some(2),
    };
    assert_eq!(found, expected);
}

#[test]
fn the_units_own_counter_of_starts_is_believed_before_what_readings_happen_to_see() {
    let dir = tempfile::tempdir().unwrap();
    let archive = open(dir.path());
    // Five starts between two readings, a reading without the counter, a counter that begins anew, two more starts.
    let counter = [Some(100), Some(105), None, Some(0), Some(2)];
    let rows = counter.iter().enumerate().map(|(n, counter)| {
        let mut row = running(DAY + n as i64 * HOUR_MS, Compressor::Running);
        if let Some(counter) = counter {
            row.set(STARTS, Value::Number(*counter));
        }
        ("U1", row)
    });
    add(&archive, 0, &batch(rows));
    archive.flush(1).unwrap();
    assert_eq!(day(&History::of_archive(archive), "U1").starts, Some(7));
}

#[test]
fn what_is_not_known_is_none_and_not_zero() {
    let dir = tempfile::tempdir().unwrap();
    let archive = open(dir.path());
    let still = running(DAY, Compressor::Stopped);
    add(&archive, 0, &batch([("U1", reading(DAY, &[(Channel::Coil, 1)])), ("U2", still)]));
    archive.flush(1).unwrap();
    let history = History::of_archive(archive);
    let unknown = day(&history, "U1");
    assert_eq!((unknown.return_air_median, unknown.duty, unknown.starts), (None, None, None));
    let stopped = day(&history, "U2");
    assert_eq!((stopped.duty, stopped.starts), (Some(0.0), Some(0)));
}

/// Every combination of the parts of the state that tell whether the compressor runs, each as a unit of its own.
fn every_state() -> Vec<(String, State)> {
    let mut states = Vec::new();
    for compressor in 0..=2 {
        for power in 0..=2 {
            for running_mode in 0..=2 {
                for stage in 0..=8 {
                    let state = State {
                        compressor: Compressor::from_number(compressor).unwrap(),
                        power: Power::from_number(power).unwrap(),
                        running_mode: RunningMode::from_number(running_mode).unwrap(),
                        stage: Stage::from_number(stage).unwrap(),
                        ..State::default()
                    };
                    states.push((format!("U-{compressor}{power}{running_mode}{stage}"), state));
                }
            }
        }
    }
    states
}

#[test]
fn files_tell_whether_the_compressor_runs_exactly_as_the_vocabulary_does() {
    let dir = tempfile::tempdir().unwrap();
    let archive = open(dir.path());
    let states = every_state();
    add(&archive, 0, &batch(states.iter().map(|(unit, state)| (unit.as_str(), Reading::new(DAY, *state)))));
    let history = History::of_archive(archive.clone());
    let ask = || history.daily(None, Day::of(DAY), Day(Day::of(DAY).0 + 1)).unwrap();
    let from_tail = ask();
    archive.flush(1).unwrap();
    let from_files = ask();
    assert_eq!(from_files, from_tail);
    assert_eq!(from_files.len(), states.len());
    for (found, (unit, state)) in from_files.iter().zip(&states) {
        assert_eq!(found.unit.as_str(), unit);
        let expected = state.compressor_running().map(|runs| f64::from(u8::from(runs)));
        assert_eq!(found.duty, expected, "{state:?}");
    }
}

fn fleet(n: u64) -> Batch {
    let rows = ["U1", "U2", "U3"].into_iter().flat_map(|unit| {
        (0..2).map(move |d| {
            let time = DAY + d * DAY_MS + n as i64 * MINUTE_MS;
            let compressor = if n % 5 < 2 { Compressor::Running } else { Compressor::Stopped };
            let mut row = running(time, compressor);
            row.set(AIR, Value::Number((n * 37 % 100) as i32 - 50));
            (unit, row)
        })
    });
    batch(rows)
}

#[test]
fn figures_are_the_same_unflushed_flushed_repeated_and_compacted() {
    let dir = tempfile::tempdir().unwrap();
    let archive = open(dir.path());
    let history = History::of_archive(archive.clone());
    let ask = || history.daily(None, Day::of(DAY), Day(Day::of(DAY).0 + 2)).unwrap();
    for n in 0..30 {
        add(&archive, n, &fleet(n));
    }
    let unflushed = ask();
    assert_eq!(unflushed.len(), 6);
    assert_eq!(unflushed[0].starts, Some(5));
    assert!(unflushed.is_sorted_by_key(|d| (d.day, d.unit.clone())));
    archive.flush(30).unwrap();
    assert_eq!(ask(), unflushed);
    // The same rows once more under new positions, as a gateway that lost an acknowledgement sends them.
    for n in 0..30 {
        add(&archive, 30 + n, &fleet(n));
        if n % 10 == 9 {
            archive.flush(31 + n).unwrap();
        }
    }
    assert_eq!(ask(), unflushed);
    compact(&archive);
    assert_eq!(ask(), unflushed);
    let one = history.daily(Some(&id("U2")), Day::of(DAY), Day(Day::of(DAY).0 + 1)).unwrap();
    assert_eq!(one, [unflushed[1].clone()]);
}

fn compact(archive: &Archive) {
    for partition in archive.compact_due(Day(i32::MAX)) {
        archive.compact(partition).unwrap();
    }
}

#[test]
fn days_without_readings_are_left_out_and_reversed_spans_refused() {
    let dir = tempfile::tempdir().unwrap();
    let archive = open(dir.path());
    add(&archive, 0, &batch([("U1", reading(DAY, &[(AIR, 1)]))]));
    let history = History::of_archive(archive);
    let (before, after) = (Day(Day::of(DAY).0 - 3), Day(Day::of(DAY).0 + 3));
    assert_eq!(history.daily(None, before, after).unwrap().len(), 1);
    assert!(history.daily(None, before, Day::of(DAY)).unwrap().is_empty());
    assert!(history.daily(Some(&Id::new("nobody").unwrap()), before, after).unwrap().is_empty());
    assert!(matches!(history.daily(None, after, before), Err(HistoryError::Span { .. })));
}
