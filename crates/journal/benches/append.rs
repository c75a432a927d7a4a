//! What the journal costs over a bare write and fdatasync of the same bytes, measured by turns in the same run.
//!
//! `cargo bench -p rimeline-journal`; `TMPDIR` chooses the disk.
#![allow(clippy::unwrap_used, clippy::print_stdout, missing_docs)]

use std::fs::File;
use std::os::unix::fs::FileExt;
use std::time::{Duration, Instant};

use bytes::Bytes;
use rimeline_journal::{Journal, LocalJournal, Options, Position};
use tempfile::TempDir;
use tokio::runtime::Runtime;

/// A gateway's message: 60 readings of 55 bytes.
const MESSAGE: usize = 3300;
/// What one reading is on the wire.
const READING: usize = 102;

/// A file that is written and synced, and nothing else.
struct Raw {
    file: File,
    at: u64,
    _dir: TempDir,
}

impl Raw {
    fn new() -> Self {
        let dir = tempfile::tempdir().unwrap();
        Self { file: File::create(dir.path().join("raw")).unwrap(), at: 0, _dir: dir }
    }

    /// In groups as large as the journal's.
    fn append(&mut self, bytes: &[u8]) {
        for group in bytes.chunks(Options::default().commit_bytes) {
            self.file.write_all_at(group, self.at).unwrap();
            self.file.sync_data().unwrap();
            self.at += group.len() as u64;
        }
    }
}

/// A journal that many tasks append to at once.
struct Through {
    journal: LocalJournal,
    runtime: Runtime,
    record: Bytes,
    _dir: TempDir,
}

impl Through {
    fn new(bytes: usize) -> Self {
        let dir = tempfile::tempdir().unwrap();
        let journal = LocalJournal::open(dir.path(), Options::default()).unwrap();
        let runtime = tokio::runtime::Builder::new_current_thread().build().unwrap();
        Self { journal, runtime, record: vec![7; bytes].into(), _dir: dir }
    }

    fn append(&self, count: usize) {
        self.runtime.block_on(async {
            let all: Vec<_> = (0..count).map(|_| self.journal.append(self.record.clone())).collect();
            for one in all {
                one.await.unwrap();
            }
        });
    }
}

#[divan::bench(args = [1, 20, 300, 3000])]
fn raw(bencher: divan::Bencher<'_, '_>, messages: usize) {
    let mut raw = Raw::new();
    let bytes = vec![7; messages * MESSAGE];
    bencher.counter(divan::counter::BytesCount::new(bytes.len())).bench_local(|| raw.append(&bytes));
}

#[divan::bench(args = [1, 20, 300, 3000])]
fn journal(bencher: divan::Bencher<'_, '_>, messages: usize) {
    let through = Through::new(MESSAGE);
    bencher
        .counter(divan::counter::BytesCount::new(messages * MESSAGE))
        .bench_local(|| through.append(messages));
}

#[divan::bench]
fn read_back(bencher: divan::Bencher<'_, '_>) {
    let through = Through::new(MESSAGE);
    through.append(3000);
    bencher.counter(divan::counter::BytesCount::new(3000 * MESSAGE)).bench_local(|| {
        let mut at = Position::START;
        while let Some(last) = through.journal.read(at, 1 << 20).unwrap().last() {
            at = last.next;
        }
    });
}

/// CPU time of all living threads of this process.
fn cpu() -> Duration {
    let tasks = std::fs::read_dir("/proc/self/task").unwrap();
    let nanos = tasks.filter_map(|task| {
        let stat = std::fs::read_to_string(task.ok()?.path().join("schedstat")).ok()?;
        stat.split(' ').next()?.parse::<u64>().ok()
    });
    Duration::from_nanos(nanos.sum())
}

/// By turns, so that whatever else the machine does falls on both; the median of the rounds.
fn ratio(record: usize, count: usize) {
    let (mut raw, through) = (Raw::new(), Through::new(record));
    let bytes = vec![7; record * count];
    let timed = |f: &mut dyn FnMut()| {
        let (wall, used) = (Instant::now(), cpu());
        f();
        [wall.elapsed().as_secs_f64(), cpu().saturating_sub(used).as_secs_f64()]
    };
    let mut rounds: [[Vec<f64>; 2]; 2] = Default::default();
    for _ in 0..100 {
        let both = [timed(&mut || raw.append(&bytes)), timed(&mut || through.append(count))];
        for (who, measured) in both.into_iter().enumerate() {
            for (what, value) in measured.into_iter().enumerate() {
                rounds[who][what].push(value * 1e6);
            }
        }
    }
    let median = |values: &mut Vec<f64>| {
        values.sort_by(f64::total_cmp);
        values[values.len() / 2]
    };
    let [[raw_wall, raw_cpu], [wall, used]] = rounds.map(|who| who.map(|mut values| median(&mut values)));
    println!(
        "{count:5} x {record:4} B: raw {raw_wall:7.0} us, cpu {raw_cpu:6.0} us; journal {wall:7.0} us ({:.2} x), \
         cpu {used:6.0} us ({:.2} x, {:+.2} us a record)",
        wall / raw_wall,
        used / raw_cpu,
        (used - raw_cpu) / count as f64,
    );
}

fn main() {
    for (record, count) in
        [(MESSAGE, 1), (MESSAGE, 20), (MESSAGE, 300), (MESSAGE, 3000), (READING, 1), (READING, 1000)]
    {
        ratio(record, count);
    }
    divan::main();
}
