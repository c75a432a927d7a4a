//! Writes a small archive and what another program must find in it.
//!
//! `cargo run -p rimeline-archive --example write_sample -- DIR` makes `DIR/archive` and `DIR/EXPECTED.json`;
//! `tests/reference/archive_reference.py DIR/archive DIR/EXPECTED.json` reads both with DuckDB and pyarrow.
#![allow(clippy::print_stdout)]

use std::error::Error;
use std::path::PathBuf;
use std::sync::Arc;

use rimeline_archive::{Archive, CONTRACT, LocalStore, Options, RowMeta};
use rimeline_channels::{
    Absence, Alarm, Batch, Channel, DAY_MS, DefrostEnd, DefrostOrigin, Door, Drive, Event, EventKind, Id,
    MINUTE_MS, Power, Reading, RunningMode, Stage, State, UnixMs, Value,
};
use serde_json::{Map, Value as Json, json};

/// 2026-01-31T00:00:00Z.
const DAY: UnixMs = 1_769_817_600_000;

fn main() -> Result<(), Box<dyn Error>> {
    let root = PathBuf::from(std::env::args().nth(1).ok_or("give a directory that does not exist yet")?);
    let store = Arc::new(LocalStore::new(root.join("archive"))?);
    let options = Options { buckets: 2, merge_files: 4, ..Options::default() };
    let archive = Archive::open(store, options)?;
    let (mut readings, mut events) = (Vec::new(), Vec::new());
    // Six flushes: the first four are merged, the last two stay as they are, so column sets differ between files.
    for n in 0..6 {
        let batch = batch(n)?;
        let meta = RowMeta { received_ms: DAY + 5_000, late_before_ms: DAY, position: n };
        archive.add(&batch, meta)?;
        archive.flush(n + 1)?;
        for partition in archive.merge_due() {
            archive.merge(partition)?;
        }
        expect(&batch, meta, &mut readings, &mut events);
    }
    let channels: Map<String, Json> = Channel::ALL
        .iter()
        .map(|c| (c.name().to_owned(), json!({"ucum": c.spec().measure.code(), "decimals": c.decimals()})))
        .collect();
    let expected = json!({
        "contract": CONTRACT, "channels": channels, "readings": readings, "events": events,
        "files": archive.snapshot().files().count(),
    });
    std::fs::write(root.join("EXPECTED.json"), serde_json::to_vec_pretty(&expected)?)?;
    println!("{} readings, {} events in {}", readings.len(), events.len(), root.display());
    Ok(())
}

/// Three units over two days, with every way of having no number, extremes of every channel, and odd clocks.
fn batch(n: u64) -> Result<Batch, Box<dyn Error>> {
    let mut batch = Batch::default();
    for (u, name) in ["TR-0001", "TR-0002", "yard.x_3"].into_iter().enumerate() {
        let unit = batch.unit_index(&Id::new(name)?);
        for minute in 0..20 {
            let step = n as i64 * 20 + minute;
            let start = if u == 1 { DAY - DAY_MS / 2 } else { DAY };
            let mut reading = Reading::new(start + step * MINUTE_MS, state(step));
            for (i, &channel) in Channel::ALL.iter().enumerate() {
                // Later flushes know more channels than earlier ones.
                if i < 13 + 4 * n as usize {
                    reading.set(channel, value(channel, i as i64 + step, u));
                }
            }
            batch.push(unit, &reading);
        }
    }
    if n == 2 {
        let unit = batch.unit_index(&Id::new("clock-lost")?);
        for time in [0, 253_402_300_799_999] {
            let mut reading = Reading::new(time, State::default());
            reading.set(Channel::ReturnAirControl, Value::Number(-185));
            batch.push(unit, &reading);
        }
    }
    let alarm =
        || Alarm {
            code: "A7".to_owned(), text: "délai d'évacuation \"long\"".to_owned(), by_person: n == 1
        };
    for kind in [
        EventKind::StateChanged(state(n as i64)),
        EventKind::SetPointChanged(-180 + n as i32),
        EventKind::AlarmRaised(alarm()),
        EventKind::AlarmCleared(alarm()),
    ] {
        batch.events.push(Event { unit: 0, time: DAY + n as i64, kind });
    }
    Ok(batch)
}

fn value(channel: Channel, step: i64, unit: usize) -> Value {
    match step % 11 {
        _ if unit == 2 && channel == Channel::CargoProbe6 => Value::Absent(Absence::NotFitted),
        9 => Value::Absent(Absence::ALL[(step / 11 % 5) as usize]),
        10 => Value::Number(i32::MAX),
        8 => Value::Number(i32::MIN),
        _ => Value::Number((step * 37 % 500 - 250) as i32),
    }
}

fn state(step: i64) -> State {
    if step % 7 == 0 {
        return State::default();
    }
    State {
        power: Power::On,
        drive: if step % 2 == 0 { Drive::Engine } else { Drive::Shore },
        running_mode: RunningMode::StartStop,
        stage: Stage::ALL[(step % 8) as usize],
        door: Door::Closed,
        compressor: rimeline_channels::Compressor::Unknown,
        defrost_origin: DefrostOrigin::Demand,
        defrost_end: DefrostEnd::CoilTemperature,
        inputs: (step % 256) as u8,
        outputs: 255,
    }
}

fn expect(batch: &Batch, meta: RowMeta, readings: &mut Vec<Json>, events: &mut Vec<Json>) {
    let mut reading = Reading::default();
    for row in 0..batch.rows() {
        batch.read_row(row, &mut reading);
        let mut values = Map::new();
        let mut status = Vec::new();
        for &channel in Channel::ALL {
            match reading.get(channel) {
                Value::Number(number) => {
                    values.insert(channel.name().to_owned(), json!(number));
                }
                Value::Absent(Absence::NotReported) => {}
                Value::Absent(absence) => status.push(format!("{channel}:{}", absence.name())),
            }
        }
        let mut json = common(batch.unit(row), reading.time, meta);
        json.insert("values".to_owned(), Json::Object(values));
        json.insert(
            "status".to_owned(),
            if status.is_empty() { Json::Null } else { json!(status.join(" ")) },
        );
        json.extend(state_json(&reading.state));
        readings.push(Json::Object(json));
    }
    for event in &batch.events {
        let mut json = common(&batch.units[event.unit as usize], event.time, meta);
        let alarm_json = |alarm: &Alarm| {
            [
                ("alarm_code", json!(alarm.code)),
                ("alarm_text", json!(alarm.text)),
                ("by_person", json!(alarm.by_person)),
            ]
            .map(|(name, value)| (name.to_owned(), value))
        };
        let kind = match &event.kind {
            EventKind::StateChanged(state) => {
                json.extend(state_json(state));
                "state_changed"
            }
            EventKind::SetPointChanged(value) => {
                json.insert("set_point".to_owned(), json!(value));
                "set_point_changed"
            }
            EventKind::AlarmRaised(alarm) => {
                json.extend(alarm_json(alarm));
                "alarm_raised"
            }
            EventKind::AlarmCleared(alarm) => {
                json.extend(alarm_json(alarm));
                "alarm_cleared"
            }
        };
        json.insert("kind".to_owned(), json!(kind));
        events.push(Json::Object(json));
    }
}

fn common(unit: &Id, time: UnixMs, meta: RowMeta) -> Map<String, Json> {
    let late = time < meta.late_before_ms;
    [
        ("unit", json!(unit)),
        ("time", json!(time)),
        ("received", json!(meta.received_ms)),
        ("late", json!(late)),
    ]
    .map(|(name, value)| (name.to_owned(), value))
    .into_iter()
    .collect()
}

fn state_json(state: &State) -> Map<String, Json> {
    let word = |word: &str| {
        if word == "unknown" { Json::Null } else { json!(word) }
    };
    [
        ("power", word(state.power.name())),
        ("drive", word(state.drive.name())),
        ("running_mode", word(state.running_mode.name())),
        ("stage", word(state.stage.name())),
        ("door", word(state.door.name())),
        ("compressor", word(state.compressor.name())),
        ("defrost_origin", word(state.defrost_origin.name())),
        ("defrost_end", word(state.defrost_end.name())),
        ("inputs", json!(state.inputs)),
        ("outputs", json!(state.outputs)),
    ]
    .map(|(name, value)| (name.to_owned(), value))
    .into_iter()
    .collect()
}
