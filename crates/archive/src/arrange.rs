use std::ops::Range;

use rimeline_channels::{DAY_MS, Id};

use crate::partition::{Dataset, Day, Partition, bucket_of};
use crate::rows::{EventRow, Rows, Units};

/// The order in which buffered rows go into files.
#[derive(Debug)]
pub(crate) struct Arranged {
    /// Row numbers by partition, unit and time; of the same unit and time only the first that came.
    pub(crate) order: Vec<u32>,
    /// Which part of `order` belongs to which partition.
    pub(crate) runs: Vec<(Partition, Range<usize>)>,
    /// Rows left out because the same unit and time came before.
    pub(crate) duplicates: u64,
}

/// Units by bucket and then by id.
struct Ranks {
    rank_of_unit: Vec<u32>,
    bucket_of_rank: Vec<u16>,
}

impl Ranks {
    fn new(units: &Units, buckets: u16) -> Self {
        let mut sorted: Vec<(u16, &Id, usize)> = units
            .ids()
            .iter()
            .enumerate()
            .map(|(at, id)| (bucket_of(id, buckets), id, at))
            .collect();
        sorted.sort_unstable();
        let mut rank_of_unit = vec![0; sorted.len()];
        for (rank, (_, _, at)) in sorted.iter().enumerate() {
            rank_of_unit[*at] = rank as u32;
        }
        Self {
            rank_of_unit,
            bucket_of_rank: sorted.iter().map(|s| s.0).collect(),
        }
    }

    /// Day, rank, time of day and row number in one number, so that sorting compares one number.
    fn key(&self, unit: u32, time: i64, row: usize) -> u128 {
        // The sign bit is turned so that days before 1970 sort first.
        let day = (Day::of(time).0 as u32) ^ (1 << 31);
        let within = time.rem_euclid(DAY_MS) as u32;
        let rank = self.rank_of_unit[unit as usize];
        u128::from(day) << 96 | u128::from(rank) << 64 | u128::from(within) << 32 | row as u128
    }

    fn partition(&self, dataset: Dataset, key: u128) -> Partition {
        let day = Day(((key >> 96) as u32 ^ (1 << 31)) as i32);
        Partition {
            dataset,
            day,
            bucket: self.bucket_of_rank[(key >> 64) as u32 as usize],
        }
    }

    fn runs(&self, dataset: Dataset, keys: &[u128]) -> Vec<(Partition, Range<usize>)> {
        let mut runs: Vec<(Partition, Range<usize>)> = Vec::new();
        for (at, &key) in keys.iter().enumerate() {
            let partition = self.partition(dataset, key);
            match runs.last_mut() {
                Some((last, range)) if *last == partition => range.end = at + 1,
                _ => runs.push((partition, at..at + 1)),
            }
        }
        runs
    }
}

/// The order of one kind of rows.
pub(crate) fn dataset(rows: &Rows, dataset: Dataset, buckets: u16) -> Arranged {
    match dataset {
        Dataset::Readings => readings(rows, buckets),
        Dataset::Events => events(rows, buckets),
    }
}

fn readings(rows: &Rows, buckets: u16) -> Arranged {
    let ranks = Ranks::new(&rows.units, buckets);
    let mut keys: Vec<u128> = rows
        .unit
        .iter()
        .zip(&rows.time)
        .enumerate()
        .map(|(row, (u, t))| ranks.key(*u, *t, row))
        .collect();
    keys.sort_unstable();
    let before = keys.len();
    keys.dedup_by_key(|key| *key >> 32);
    let duplicates = (before - keys.len()) as u64;
    let runs = ranks.runs(Dataset::Readings, &keys);
    Arranged {
        order: keys.iter().map(|key| *key as u32).collect(),
        runs,
        duplicates,
    }
}

/// Several may come at the same time; only those that say the same are duplicates.
fn events(rows: &Rows, buckets: u16) -> Arranged {
    let ranks = Ranks::new(&rows.units, buckets);
    let events = &rows.events;
    let mut keys: Vec<u128> = events
        .iter()
        .enumerate()
        .map(|(row, e)| ranks.key(e.unit, e.time, row))
        .collect();
    keys.sort_unstable();
    let event = |key: u128| -> &EventRow { &events[key as u32 as usize] };
    let mut kept: Vec<u128> = Vec::with_capacity(keys.len());
    for &key in &keys {
        let same_time = kept.iter().rev().take_while(|k| *k >> 32 == key >> 32);
        if !same_time.into_iter().any(|k| event(*k).kind == event(key).kind) {
            kept.push(key);
        }
    }
    let duplicates = (keys.len() - kept.len()) as u64;
    let runs = ranks.runs(Dataset::Events, &kept);
    Arranged {
        order: kept.iter().map(|key| *key as u32).collect(),
        runs,
        duplicates,
    }
}

/// What the manifest says about the rows of a file.
pub(crate) struct Facts<'a> {
    pub(crate) min_time: i64,
    pub(crate) max_time: i64,
    pub(crate) min_unit: &'a str,
    pub(crate) max_unit: &'a str,
    pub(crate) units: u64,
}

/// Facts about rows in the order of a file.
pub(crate) fn facts<'a>(rows: &'a Rows, dataset: Dataset, order: &[u32]) -> Facts<'a> {
    let at = |row: &u32| match dataset {
        Dataset::Readings => (rows.unit[*row as usize], rows.time[*row as usize]),
        Dataset::Events => {
            let event = &rows.events[*row as usize];
            (event.unit, event.time)
        }
    };
    let name = |row: Option<&u32>| row.map_or("", |row| rows.units.get(at(row).0).as_str());
    let changes = order
        .windows(2)
        .filter(|pair| at(&pair[0]).0 != at(&pair[1]).0)
        .count();
    Facts {
        min_time: order.iter().map(|row| at(row).1).min().unwrap_or_default(),
        max_time: order.iter().map(|row| at(row).1).max().unwrap_or_default(),
        min_unit: name(order.first()),
        max_unit: name(order.last()),
        units: changes as u64 + u64::from(!order.is_empty()),
    }
}
