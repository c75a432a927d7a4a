//! Measures questions to ninety days of a fleet, a reading a minute, in compacted daily files.
//!
//! `cargo run --release -p rimeline-history --example ninety_days -- DIR [UNITS] [DAYS]` writes the archive into `DIR` unless
//! it is there already, and prints how long each question takes.
#![allow(clippy::print_stdout)]

use std::error::Error;
use std::sync::Arc;
use std::time::Instant;

use rimeline_archive::{Archive, Day, LocalStore, Options, RowMeta};
use rimeline_channels::{Batch, Channel, DAY_MS, Id, MINUTE_MS, Power, Reading, Stage, State, UnixMs, Value};
use rimeline_history::History;

/// 2026-01-01T00:00:00Z.
const START: UnixMs = 1_767_225_600_000;

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = std::env::args().skip(1);
    let root = arguments.next().ok_or("give a directory")?;
    let units: u64 = arguments.next().map_or(Ok(200), |units| units.parse())?;
    let days: i64 = arguments.next().map_or(Ok(90), |days| days.parse())?;
    let archive = Arc::new(Archive::open(Arc::new(LocalStore::new(root)?), Options::default())?);
    for day in archive.position() as i64..days {
        write_day(&archive, day, units)?;
    }
    let bytes: u64 = archive.snapshot().files().map(|f| f.bytes).sum();
    let files = archive.snapshot().files().count();
    println!("{units} units, {days} days, {files} files, {} MB", bytes / 1_000_000);

    let history = History::of_archive(archive);
    let unit = Id::new("TR-00007")?;
    let until = START + days * DAY_MS;
    let two = [Channel::ReturnAirControl, Channel::SupplyAirControl];
    for (what, from, channels) in [
        ("every day, two channels", START, two.as_slice()),
        ("every day, every channel", START, &[]),
        ("7 days, two channels", until - 7 * DAY_MS, &two),
    ] {
        let begun = Instant::now();
        let readings = history.readings(&unit, from, until, channels)?;
        let points: usize = readings.downsample(1_000).iter().map(|s| s.times.len()).sum();
        println!("{what}: {} rows, {points} points, {:?}", readings.times.len(), begun.elapsed());
    }
    let begun = Instant::now();
    let days = history.daily(None, Day::of(until - 7 * DAY_MS), Day::of(until))?;
    println!("daily figures of a week, every unit: {} unit-days, {:?}", days.len(), begun.elapsed());
    Ok(())
}

/// One day of every unit, one flush, so each bucket's day is one file as after compaction.
fn write_day(archive: &Archive, day: i64, units: u64) -> Result<(), Box<dyn Error>> {
    let mut noise = Noise(day as u64 + 1);
    let mut batch = Batch::default();
    for unit in 0..units {
        batch.unit_index(&Id::new(&format!("TR-{unit:05}"))?);
    }
    for minute in 0..DAY_MS / MINUTE_MS {
        for unit in 0..units {
            let stage = if minute % 40 < 25 { Stage::CoolingLow } else { Stage::Satisfied };
            let state = State { power: Power::On, stage, ..State::default() };
            let mut reading = Reading::new(START + day * DAY_MS + minute * MINUTE_MS, state);
            for &channel in Channel::ALL {
                reading.set(channel, Value::Number(noise.next(unit, channel)));
            }
            batch.push(unit as u32, &reading);
        }
    }
    let meta = RowMeta { received_ms: START, late_before_ms: 0, position: day as u64 };
    archive.add(&batch, meta)?;
    archive.flush(day as u64 + 1)?;
    Ok(())
}

/// Small noise around a level for each unit and channel, made by a linear congruential generator (Numerical Recipes constants).
struct Noise(u64);

impl Noise {
    fn next(&mut self, unit: u64, channel: Channel) -> i32 {
        self.0 = self.0.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let level = (unit * 31 + channel.index() as u64 * 101) % 400;
        level as i32 - 200 + ((self.0 >> 24) % 5) as i32
    }
}
