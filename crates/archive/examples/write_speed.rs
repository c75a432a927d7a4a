//! Measures adding, flushing and merging: CPU per channel value, and bytes per value on disk.
//!
//! `cargo run --release -p rimeline-archive --example write_speed -- DIR [UNITS] [MINUTES]` writes batches of sixty
//! units with one reading each, as gateways send them, flushes every ten minutes of data and compacts at the end.
#![allow(clippy::print_stdout)]

use std::error::Error;
use std::sync::Arc;
use std::time::Duration;

use rimeline_archive::{Archive, Day, LocalStore, Options, RowMeta};
use rimeline_channels::{
    Absence, Batch, Channel, Id, MINUTE_MS, Power, Reading, Stage, State, UnixMs, Value,
};

/// 2026-01-01T00:00:00Z.
const START: UnixMs = 1_767_225_600_000;
const UNITS_A_BATCH: usize = 60;
const MINUTES_A_FLUSH: usize = 10;

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = std::env::args().skip(1);
    let root = arguments.next().ok_or("give a directory that does not exist yet")?;
    let mut number = |default: usize| arguments.next().map_or(Ok(default), |text| text.parse());
    let (units, minutes) = (number(3_000)?, number(60)?);
    let archive = Archive::open(Arc::new(LocalStore::new(root)?), Options::default())?;
    let mut fleet = Fleet::new(units)?;
    let (mut adding, mut flushing) = (Duration::ZERO, Duration::ZERO);
    let (mut position, mut written) = (0, 0);
    for minute in 0..minutes {
        for batch in fleet.minute(minute) {
            let begun = cpu();
            archive.add(&batch, RowMeta { received_ms: START, late_before_ms: 0, position })?;
            adding += cpu().saturating_sub(begun);
            position += 1;
        }
        if (minute + 1) % MINUTES_A_FLUSH == 0 {
            let begun = cpu();
            written += archive.flush(position)?.bytes;
            flushing += cpu().saturating_sub(begun);
        }
    }
    archive.flush(position)?;
    let values = (units * minutes * Channel::COUNT) as f64;
    let each = |spent: Duration| spent.as_nanos() as f64 / values;
    println!("{units} units, {minutes} readings each, {values:.0} values");
    println!("add    {:6.2} ns a value", each(adding));
    println!("flush  {:6.2} ns a value, {:.3} bytes a value", each(flushing), written as f64 / values);
    let begun = cpu();
    for partition in archive.compact_due(Day(i32::MAX)) {
        archive.compact(partition)?;
    }
    let bytes: u64 = archive.snapshot().files().map(|f| f.bytes).sum();
    println!(
        "merge  {:6.2} ns a value, {:.3} bytes a value",
        each(cpu().saturating_sub(begun)),
        bytes as f64 / values
    );
    Ok(())
}

/// Processor time of this thread, by Linux's scheduler, so that a busy machine does not count.
fn cpu() -> Duration {
    let spent = std::fs::read_to_string("/proc/thread-self/schedstat").unwrap_or_default();
    Duration::from_nanos(spent.split(' ').next().and_then(|ns| ns.parse().ok()).unwrap_or(0))
}

/// Units whose channels walk slowly at random.
struct Fleet {
    ids: Vec<Id>,
    values: Vec<i32>,
    seed: u64,
}

impl Fleet {
    fn new(units: usize) -> Result<Self, Box<dyn Error>> {
        let ids = (0..units).map(|u| Id::new(&format!("TR-{u:06}"))).collect::<Result<_, _>>()?;
        let values = (0..units * Channel::COUNT).map(|i| (i as i32 * 7_919) % 1_500 - 300).collect();
        Ok(Self { ids, values, seed: 1 })
    }

    /// A linear congruential generator (Knuth's MMIX constants).
    fn random(&mut self) -> u64 {
        self.seed = self.seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        self.seed >> 33
    }

    fn minute(&mut self, minute: usize) -> Vec<Batch> {
        let mut batches = Vec::new();
        for first in (0..self.ids.len()).step_by(UNITS_A_BATCH) {
            let mut batch = Batch::default();
            for unit in first..self.ids.len().min(first + UNITS_A_BATCH) {
                let index = batch.unit_index(&self.ids[unit]);
                let stage = if (minute + unit) % 40 < 25 { Stage::CoolingLow } else { Stage::Satisfied };
                let state = State { power: Power::On, stage, inputs: 5, ..State::default() };
                let jitter = (unit as i64 * 977) % 50_000;
                let mut reading = Reading::new(START + minute as i64 * MINUTE_MS + jitter, state);
                for &channel in Channel::ALL {
                    let step = [0, 0, 0, 1, -1][(self.random() % 5) as usize];
                    let value = &mut self.values[unit * Channel::COUNT + channel.index()];
                    *value += step;
                    reading.set(channel, Value::Number(*value));
                }
                if unit % 3 == 0 {
                    reading.set(Channel::CargoProbe6, Value::Absent(Absence::NotFitted));
                }
                batch.push(index, &reading);
            }
            batches.push(batch);
        }
        batches
    }
}
