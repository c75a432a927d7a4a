use std::{cmp::Reverse, collections::BinaryHeap, collections::VecDeque};

use rimeline_channels::{Batch, Id, Reading};

use crate::{
    Mapping, Place, Problem, ProblemKind, Problems, Source, document::Order, open_file::OpenFile, row::Rower,
};

/// Files on their way in: an iterator of batches. What did not go in stands in [`Import::problems`].
pub struct Import<'m> {
    mapping: &'m Mapping,
    rower: Rower<'m>,
    /// Files whose turn has not come.
    waiting: VecDeque<Source>,
    /// In [`Order::AsGiven`] at most one; in [`Order::MergeByTime`] all that have rows left.
    open: Vec<Option<OpenFile>>,
    /// Merging: the next reading of each open file.
    heads: Vec<(u32, Reading)>,
    next_heads: BinaryHeap<Reverse<(i64, usize)>>,
    sorted: Option<Sorted>,
    reading: Reading,
    counts: Counts,
}

/// How much an import has read and given.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Files that were opened and fit the mapping.
    pub files: u64,
    /// Rows that were read from them.
    pub rows_read: u64,
    /// Rows that were handed out in batches.
    pub rows_given: u64,
}

/// Readings in memory with the order in which they leave.
struct Sorted {
    store: Batch,
    order: std::vec::IntoIter<u32>,
}

impl<'m> Import<'m> {
    pub(crate) fn new(mapping: &'m Mapping, sources: Vec<Source>) -> Self {
        Self {
            mapping,
            rower: Rower::new(mapping),
            waiting: sources.into(),
            open: Vec::new(),
            heads: Vec::new(),
            next_heads: BinaryHeap::new(),
            sorted: None,
            reading: Reading::default(),
            counts: Counts::default(),
        }
    }

    /// What did not go in as it stands, so far.
    pub fn problems(&self) -> &Problems {
        &self.rower.problems
    }

    /// How much was read and given, so far.
    pub fn counts(&self) -> Counts {
        self.counts
    }

    /// The units that have appeared so far.
    pub fn units(&self) -> &[Id] {
        &self.rower.units
    }

    /// The next batch: rows in the order that the mapping asks for. `None` when every file is read.
    pub fn next_batch(&mut self) -> Option<Batch> {
        let mut batch = Batch::default();
        let mut reading = std::mem::take(&mut self.reading);
        while batch.rows() < self.mapping.batches.rows {
            let next = match self.mapping.batches.order {
                Order::AsGiven => self.next_as_given(&mut reading),
                Order::MergeByTime => self.next_merged(&mut reading),
                Order::SortByTime => self.next_sorted(&mut reading),
            };
            let Some(unit) = next else { break };
            let unit = batch.unit_index(&self.rower.units[unit as usize]);
            batch.push(unit, &reading);
        }
        self.reading = reading;
        self.counts.rows_given += batch.rows() as u64;
        (batch.rows() > 0).then_some(batch)
    }

    fn open_next(&mut self) -> Option<OpenFile> {
        while let Some(source) = self.waiting.pop_front() {
            if let Some(file) = OpenFile::open(self.mapping, source, &mut self.rower.problems) {
                self.counts.files += 1;
                return Some(file);
            }
        }
        None
    }

    /// The next usable row of an open file.
    fn next_of(&mut self, file: &mut OpenFile, reading: &mut Reading) -> Option<u32> {
        while file.next(&mut self.rower.problems) {
            self.counts.rows_read += 1;
            if let Some(unit) = self.rower.read(file, reading) {
                return Some(unit);
            }
        }
        None
    }

    fn next_as_given(&mut self, reading: &mut Reading) -> Option<u32> {
        loop {
            let mut file = match self.open.pop().flatten() {
                Some(file) => file,
                None => self.open_next()?,
            };
            if let Some(unit) = self.next_of(&mut file, reading) {
                self.open.push(Some(file));
                return Some(unit);
            }
        }
    }

    /// The earliest of the files' next readings; of equal ones, that of the file given first.
    fn next_merged(&mut self, reading: &mut Reading) -> Option<u32> {
        while let Some(file) = self.open_next() {
            self.open.push(Some(file));
            self.heads.push((0, Reading::default()));
            self.advance(self.open.len() - 1);
        }
        let Reverse((_, at)) = self.next_heads.pop()?;
        let unit = self.heads[at].0;
        reading.clone_from(&self.heads[at].1);
        self.advance(at);
        Some(unit)
    }

    fn advance(&mut self, at: usize) {
        let Some(mut file) = self.open[at].take() else {
            return;
        };
        let mut head = std::mem::take(&mut self.heads[at].1);
        if let Some(unit) = self.next_of(&mut file, &mut head) {
            self.next_heads.push(Reverse((head.time, at)));
            self.heads[at] = (unit, head);
            self.open[at] = Some(file);
        }
    }

    fn next_sorted(&mut self, reading: &mut Reading) -> Option<u32> {
        loop {
            if let Some(sorted) = &mut self.sorted
                && let Some(row) = sorted.order.next()
            {
                sorted.store.read_row(row as usize, reading);
                return Some(sorted.store.unit_of_row[row as usize]);
            }
            self.sorted = Some(self.sort(reading)?);
        }
    }

    /// Reads as many rows as may be sorted at once. `None` where none are left.
    fn sort(&mut self, reading: &mut Reading) -> Option<Sorted> {
        let mut store = Batch::default();
        let most = self.mapping.batches.sort_rows;
        while store.rows() < most
            && let Some(unit) = self.next_as_given(reading)
        {
            store.push(unit, reading);
        }
        if store.rows() == 0 {
            return None;
        }
        if self.sorted.is_some() {
            let kind = ProblemKind::SortedInParts;
            self.rower.problems.add(kind, || Problem {
                kind,
                file: self.open.iter().flatten().map(|file| file.name.clone()).collect(),
                place: self.open.iter().flatten().map(OpenFile::place).next().unwrap_or(Place::File),
                column: None,
                found: format!("more than {most} rows"),
                advice: "Each part is in order by itself: raise `sort_rows` in [batches] where there is memory, or \
                         sort the files and use order = \"merge_by_time\"."
                    .to_owned(),
            });
        }
        let mut order: Vec<u32> = (0..store.rows() as u32).collect();
        order.sort_by_key(|row| store.times[*row as usize]);
        Some(Sorted { store, order: order.into_iter() })
    }
}

impl Iterator for Import<'_> {
    type Item = Batch;

    fn next(&mut self) -> Option<Batch> {
        self.next_batch()
    }
}
