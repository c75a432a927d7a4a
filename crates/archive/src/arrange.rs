use std::ops::Range;

use rimeline_channels::{Id, UnixMs};

use crate::partition::{Dataset, Day, Partition, bucket_of};
use crate::rows::{Rows, Units};

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

/// The order of one kind of rows.
pub(crate) fn dataset(rows: &Rows, dataset: Dataset, buckets: u16) -> Arranged {
    let ranks = Ranks::new(&rows.units, buckets);
    match dataset {
        Dataset::Readings => arrange(dataset, &ranks, &rows.unit, &rows.time, |_, _| true),
        // Several events may come at the same time; only those that say the same are duplicates.
        Dataset::Events => {
            let events = &rows.events;
            let units: Vec<u32> = events.iter().map(|e| e.unit).collect();
            let times: Vec<UnixMs> = events.iter().map(|e| e.time).collect();
            arrange(dataset, &ranks, &units, &times, |a, b| events[a].kind == events[b].kind)
        }
    }
}

/// Units by bucket and then by id.
struct Ranks {
    rank_of_unit: Vec<u32>,
    bucket_of_rank: Vec<u16>,
}

impl Ranks {
    fn new(units: &Units, buckets: u16) -> Self {
        let mut sorted: Vec<(u16, &Id, usize)> =
            units.ids().iter().enumerate().map(|(at, id)| (bucket_of(id, buckets), id, at)).collect();
        sorted.sort_unstable();
        let mut rank_of_unit = vec![0; sorted.len()];
        for (rank, (_, _, at)) in sorted.iter().enumerate() {
            rank_of_unit[*at] = rank as u32;
        }
        Self { rank_of_unit, bucket_of_rank: sorted.iter().map(|s| s.0).collect() }
    }

    /// Row numbers by rank and as they came, and where each rank begins.
    fn group(&self, units: &[u32]) -> (Vec<u32>, Vec<usize>) {
        let mut starts = vec![0; self.bucket_of_rank.len() + 1];
        for &unit in units {
            starts[self.rank_of_unit[unit as usize] as usize + 1] += 1;
        }
        for rank in 1..starts.len() {
            starts[rank] += starts[rank - 1];
        }
        let mut next = starts.clone();
        let mut grouped = vec![0; units.len()];
        for (row, &unit) in units.iter().enumerate() {
            let place = &mut next[self.rank_of_unit[unit as usize] as usize];
            grouped[*place] = row as u32;
            *place += 1;
        }
        (grouped, starts)
    }
}

/// The rows of one unit on one day.
struct Segment {
    day: Day,
    rank: u32,
    range: Range<usize>,
}

/// Grouping by unit first leaves little to sort: a unit's rows mostly come in order of time.
fn arrange(
    dataset: Dataset,
    ranks: &Ranks,
    units: &[u32],
    times: &[UnixMs],
    same: impl Fn(usize, usize) -> bool,
) -> Arranged {
    let (mut grouped, starts) = ranks.group(units);
    let time = |row: u32| times[row as usize];
    let mut segments = Vec::new();
    for rank in 0..ranks.bucket_of_rank.len() {
        let rows = &mut grouped[starts[rank]..starts[rank + 1]];
        if !rows.is_sorted_by_key(|row| time(*row)) {
            // Stable: of one time, what came first stays first.
            rows.sort_by_key(|row| time(*row));
        }
        let mut start = starts[rank];
        for rows in rows.chunk_by(|a, b| Day::of(time(*a)) == Day::of(time(*b))) {
            let range = start..start + rows.len();
            start = range.end;
            segments.push(Segment { day: Day::of(time(rows[0])), rank: rank as u32, range });
        }
    }
    segments.sort_by_key(|s| (s.day, s.rank));

    let mut order: Vec<u32> = Vec::with_capacity(grouped.len());
    let mut runs: Vec<(Partition, Range<usize>)> = Vec::new();
    for segment in segments {
        let begin = order.len();
        for &row in &grouped[segment.range] {
            let at_that_time = order[begin..].iter().rev().take_while(|kept| time(**kept) == time(row));
            if !at_that_time.into_iter().any(|kept| same(*kept as usize, row as usize)) {
                order.push(row);
            }
        }
        let bucket = ranks.bucket_of_rank[segment.rank as usize];
        let partition = Partition { dataset, day: segment.day, bucket };
        match runs.last_mut() {
            Some((last, range)) if *last == partition => range.end = order.len(),
            _ => runs.push((partition, begin..order.len())),
        }
    }
    let duplicates = (grouped.len() - order.len()) as u64;
    Arranged { order, runs, duplicates }
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
    let changes = order.windows(2).filter(|pair| at(&pair[0]).0 != at(&pair[1]).0).count();
    Facts {
        min_time: order.iter().map(|row| at(row).1).min().unwrap_or_default(),
        max_time: order.iter().map(|row| at(row).1).max().unwrap_or_default(),
        min_unit: name(order.first()),
        max_unit: name(order.last()),
        units: changes as u64 + u64::from(!order.is_empty()),
    }
}
