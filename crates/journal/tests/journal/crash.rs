//! Power cuts at every operation, process crashes and failing calls, against a model of what was promised:
//!
//! * an acknowledged record is there once, byte for byte, at the position that was told, until it is trimmed;
//! * records are in the order in which they were issued, and nothing else is there;
//! * a refused record never turns up, and what one start has shown every later one shows;
//! * whatever a crash leaves, the journal opens.

use std::io::ErrorKind;
use std::task::{Context, Poll, Waker};
use std::time::Duration;

use proptest::prelude::*;
use rimeline_journal::{Journal, JournalError, LocalJournal, Options, Position};

use crate::memory_disk::{Call, MemoryDisk};
use crate::{read_all, record};

const DIR: &str = "/journal";

#[derive(Clone, Debug)]
enum Step {
    /// A record alone, then the others as they were queued behind it.
    Append(Vec<usize>),
    /// To so many percent of what is there.
    Trim(u64),
    Fail(Call),
    Close,
    /// The process ends without a word.
    Kill,
    CutPower,
    /// The power goes so many operations later.
    LightFuse(u64),
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Fate {
    Unknown,
    Kept(Position),
    Refused,
}

struct World {
    disk: MemoryDisk,
    runtime: tokio::runtime::Runtime,
    issued: Vec<(Vec<u8>, Fate)>,
    start: Position,
    /// For the recoveries to come: operations until the power goes again.
    fuses_of_recovery: Vec<u64>,
}

fn options() -> Options {
    Options {
        segment_bytes: 4096,
        max_record_bytes: 2500,
        commit_bytes: 1500,
        queue_bytes: 1 << 20,
        ..Options::default()
    }
}

impl World {
    fn new(seed: u64, fuses_of_recovery: Vec<u64>) -> Self {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_time().build().unwrap();
        Self {
            disk: MemoryDisk::new(seed),
            runtime,
            issued: Vec::new(),
            start: Position::START,
            fuses_of_recovery,
        }
    }

    fn run(&mut self, steps: &[Step]) {
        let mut journal = self.open();
        for step in steps {
            let goes_on = match step {
                Step::Append(sizes) => self.append(&journal, sizes),
                Step::Trim(percent) => self.trim(&journal, *percent),
                Step::Fail(call) => {
                    self.disk.fail_next(*call, ErrorKind::Other);
                    true
                }
                Step::Close => {
                    let _ = self.runtime.block_on(journal.close());
                    false
                }
                Step::Kill => false,
                Step::CutPower => {
                    self.disk.lose_power_after(0);
                    let _ = self.append(&journal, &[20]);
                    false
                }
                Step::LightFuse(operations) => {
                    self.disk.lose_power_after(*operations);
                    true
                }
            };
            if goes_on && !self.disk.is_off() {
                self.check(&journal, false);
            } else {
                drop(journal);
                journal = self.open();
            }
        }
    }

    /// Opens, through as many power cuts as there are, and settles what was unknown.
    fn open(&mut self) -> LocalJournal {
        loop {
            if self.disk.is_off() {
                self.disk.power_cycle();
                if let Some(operations) = self.fuses_of_recovery.pop() {
                    self.disk.lose_power_after(operations);
                }
            }
            let scheduled = self.disk.scheduled_failures();
            match LocalJournal::open_on(self.disk.shared(), DIR, options()) {
                Ok(journal) => {
                    self.check(&journal, true);
                    return journal;
                }
                Err(error) => {
                    let expected = self.disk.is_off() || self.disk.scheduled_failures() < scheduled;
                    let is_damage =
                        matches!(error, JournalError::Damaged { .. } | JournalError::Foreign { .. });
                    assert!(expected && !is_damage, "{error}");
                }
            }
        }
    }

    fn issue(&mut self, bytes: usize) -> Vec<u8> {
        let number = self.issued.len();
        let bytes = [&(number as u64).to_le_bytes(), &record(number, bytes)[..]].concat();
        self.issued.push((bytes.clone(), Fate::Unknown));
        bytes
    }

    /// True if the journal goes on.
    fn append(&mut self, journal: &LocalJournal, sizes: &[usize]) -> bool {
        let first_number = self.issued.len();
        let records: Vec<_> = sizes.iter().map(|&bytes| self.issue(bytes)).collect();
        let (first, others) = records.split_first().unwrap();
        // While the first is held in its sync the others queue up: so groups do not depend on timing.
        self.disk.hold_syncs();
        let mut first = journal.append(first.clone().into());
        let mut early = None;
        let mut cx = Context::from_waker(Waker::noop());
        while !self.disk.is_held() && early.is_none() {
            match first.as_mut().poll(&mut cx) {
                Poll::Ready(answer) => early = Some(answer),
                Poll::Pending => std::thread::sleep(Duration::from_micros(20)),
            }
        }
        let others: Vec<_> = others.iter().map(|bytes| journal.append(bytes.clone().into())).collect();
        self.disk.let_go();
        let answers = self.runtime.block_on(async {
            let mut answers = vec![match early {
                Some(answer) => answer,
                None => first.await,
            }];
            for other in others {
                answers.push(other.await);
            }
            answers
        });
        let mut goes_on = true;
        for (answer, (_, fate)) in answers.into_iter().zip(&mut self.issued[first_number..]) {
            *fate = match answer {
                Ok(next) => Fate::Kept(next),
                Err(JournalError::Append { .. }) => Fate::Refused,
                Err(JournalError::Stopped { .. }) => Fate::Unknown,
                Err(other) => panic!("{other}"),
            };
            goes_on &= *fate != Fate::Unknown;
        }
        goes_on
    }

    fn trim(&mut self, journal: &LocalJournal, percent: u64) -> bool {
        let (start, end) = (journal.start().get(), journal.end().get());
        let to = Position::new(start + (end - start) * percent / 100);
        if journal.trim(to).is_ok() {
            self.start = journal.start();
            assert!(self.start <= to);
        }
        true
    }

    fn check(&mut self, journal: &LocalJournal, is_fresh: bool) {
        let start = journal.start();
        assert!(start >= self.start, "trimmed records came back");
        let entries = read_all(journal, start);
        let mut at = start;
        let mut found = vec![None; self.issued.len()];
        let mut last = None;
        for entry in &entries {
            let number = u64::from_le_bytes(entry.record[..8].try_into().unwrap()) as usize;
            let (bytes, fate) = &self.issued[number];
            assert!(*bytes == entry.record, "record {number} is not what was issued");
            assert!(last < Some(number), "record {number} twice or out of order");
            assert_ne!(*fate, Fate::Refused, "record {number} was refused and is there");
            assert_eq!(entry.position, at);
            found[number] = Some(entry.next);
            (at, last) = (entry.next, Some(number));
        }
        assert_eq!(at, journal.end());
        for (number, ((_, fate), found)) in self.issued.iter_mut().zip(found).enumerate() {
            match *fate {
                Fate::Kept(next) if next > start => assert_eq!(found, Some(next), "record {number} is lost"),
                Fate::Unknown if is_fresh => *fate = found.map_or(Fate::Refused, Fate::Kept),
                _ => {}
            }
        }
    }
}

fn script() -> Vec<Step> {
    let full: Vec<_> = (0..14).map(|n| 100 + 37 * n).collect();
    vec![
        Step::Append(vec![10]),
        Step::Append(vec![700, 20, 20, 1400, 90, 2400, 5]),
        Step::Append(full.clone()),
        Step::Trim(60),
        Step::Append(vec![30, 600, 600]),
        Step::Close,
        Step::Append(full.clone()),
        Step::Kill,
        Step::Append(vec![300, 300, 300, 300]),
        Step::Trim(100),
        Step::Append(full),
        Step::Close,
    ]
}

#[test]
fn power_may_go_at_any_operation_of_a_life() {
    let mut calm = World::new(0, vec![]);
    calm.run(&script());
    let operations = calm.disk.operations();
    assert!(operations > 100, "{operations}");
    for at in 0..operations {
        for seed in 0..6 {
            let mut world = World::new(1000 * at + seed, vec![]);
            world.disk.lose_power_after(at);
            world.run(&script());
        }
    }
}

#[test]
fn power_may_go_again_at_any_operation_of_a_recovery() {
    for at in [3, 9, 14, 20, 33, 47, 60, 75, 90] {
        for again in 0..12 {
            for seed in 0..4 {
                let mut world = World::new(1000 * at + 10 * again + seed, vec![again / 2, again]);
                world.disk.lose_power_after(at);
                world.run(&script());
            }
        }
    }
}

/// Sizes are often such that a frame is a sector: then what a torn group left fits what comes after it.
fn any_step() -> impl Strategy<Value = Step> {
    let calls =
        [Call::Create, Call::Write, Call::SyncData, Call::SyncAll, Call::SyncDir, Call::Rename, Call::Unlink];
    prop_oneof![
        12 => prop::collection::vec(prop_oneof![4 => 0usize..200, 1 => 0usize..2400, 2 => Just(512 - 16 - 8)], 1..12).prop_map(Step::Append),
        2 => (0..=100u64).prop_map(Step::Trim),
        1 => prop::sample::select(calls.to_vec()).prop_map(Step::Fail),
        1 => Just(Step::Close),
        1 => Just(Step::Kill),
        1 => Just(Step::CutPower),
        2 => (0..40u64).prop_map(Step::LightFuse),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, ..ProptestConfig::default() })]

    #[test]
    fn nothing_acknowledged_is_ever_lost(
        seed: u64,
        steps in prop::collection::vec(any_step(), 1..40),
        fuses in prop::collection::vec(0..15u64, 0..6),
    ) {
        World::new(seed, fuses).run(&steps);
    }
}
