//! What the tests of the casebook share.
#![allow(dead_code, unreachable_pub, clippy::unwrap_used)]

use rimeline_casebook::{
    Action, ActionKind, CargoClass, Case, Casebook, Changes, Cursor, Load, Options, RegistryChange,
    SqliteCasebook, Step, UnitDescription, UnitSignal,
};
use rimeline_channels::{Channel, Id, RunningMode, UnixMs};
use rimeline_detector::{Condition, Evidence, Limit, Series, Signal, Standing};

/// A Monday, 00:00 UTC.
pub const MONDAY: UnixMs = 1_767_571_200_000;
pub const HOUR: i64 = 3_600_000;
pub const DAY: i64 = 24 * HOUR;
pub const EPOCH: u64 = 77;

pub fn id(text: &str) -> Id {
    Id::new(text).unwrap()
}

pub fn open(folder: &tempfile::TempDir) -> SqliteCasebook {
    open_with(folder, Options::new(EPOCH))
}

pub fn open_with(folder: &tempfile::TempDir, options: Options) -> SqliteCasebook {
    SqliteCasebook::open(&folder.path().join("casebook.db"), options).unwrap()
}

pub fn signal(condition: Condition, standing: Standing, at: UnixMs) -> Signal {
    Signal {
        condition,
        channel: None,
        standing,
        at,
        onset: MONDAY,
        strength: 1.4,
        confidence: 0.7,
        hours_to_harm: None,
        headline: "Condensing temperature 6 K above what it was".to_owned(),
        evidence: Evidence {
            statements: vec!["6.1 K above the mean of 28 days.".to_owned()],
            series: vec![Series {
                name: "condensing temperature over ambient".to_owned(),
                unit_of_measure: "K".to_owned(),
                times: (0..28).map(|day| at - (27 - day) * DAY).collect(),
                values: (0..28).map(|day| 12.0 + f64::from(day) / 7.0).collect(),
            }],
            limits: vec![Limit { name: "opens".to_owned(), value: 14.0 }],
            ..Evidence::default()
        },
    }
}

pub fn of(unit: &str, signal: Signal) -> UnitSignal {
    UnitSignal { unit: id(unit), signal, late: false }
}

pub fn step(position: u64, signals: Vec<UnitSignal>) -> Step {
    let now = signals.iter().map(|said| said.signal.at).max().unwrap_or(MONDAY);
    Step { signals, ..Step::new("assess", Some(position), now) }
}

/// One unit's condition that opens.
pub fn opening(position: u64, unit: &str) -> Step {
    step(position, vec![of(unit, signal(Condition::RisingDischargePressure, Standing::Open, MONDAY + HOUR))])
}

pub fn load(name: &str, unit: &str, cargo_class: CargoClass, from: UnixMs, until: Option<UnixMs>) -> Load {
    Load {
        load: id(name),
        unit: id(unit),
        from,
        until,
        cargo_class,
        set_point: 4.0,
        band_below: 2.0,
        band_above: 2.0,
        required_running_mode: RunningMode::Unknown,
    }
}

pub fn in_depot(unit: &str, depot: &str) -> RegistryChange {
    RegistryChange::DescribeUnit(UnitDescription {
        depot: depot.to_owned(),
        time_zone: "Europe/Lisbon".to_owned(),
        fitted: vec![Channel::ReturnAirControl],
        ..UnitDescription::new(id(unit))
    })
}

pub fn act(kind: ActionKind, text: &str) -> Action {
    Action { by: "night desk".to_owned(), at: 0, kind, text: text.to_owned(), until: None }
}

/// Everything the feed says after a cursor, page by page.
pub fn feed_from(book: &impl Casebook, mut cursor: Cursor) -> Vec<(u64, Case)> {
    let mut heard = Vec::new();
    loop {
        match book.changes_after(cursor, 3).unwrap() {
            Changes::Page(page) if page.is_empty() => return heard,
            Changes::Page(page) => {
                cursor = page.last().unwrap().cursor;
                heard.extend(page.into_iter().map(|change| (change.cursor.sequence, change.case)));
            }
            Changes::OutOfRange => panic!("{cursor:?} is out of range"),
        }
    }
}

pub fn start() -> Cursor {
    Cursor { epoch: EPOCH, sequence: 0 }
}
