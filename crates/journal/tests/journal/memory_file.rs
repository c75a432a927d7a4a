//! The contents of a file on the disk that forgets.

use std::collections::BTreeSet;

use proptest::prelude::Rng;
use proptest::test_runner::TestRng;

use crate::memory_disk::flip;

/// Sectors are written whole or not at all, in any order.
const SECTOR: usize = 512;

/// What programs see, and what would be left if the power went now.
#[derive(Clone, Debug, Default)]
pub(crate) struct Contents {
    pub(crate) live: Vec<u8>,
    lasting: Vec<u8>,
    unsynced: BTreeSet<usize>,
    /// A failed sync took these for clean: later syncs pass over them until they are written again.
    forgotten: BTreeSet<usize>,
    was_cut: bool,
}

impl Contents {
    pub(crate) fn write(&mut self, bytes: &[u8], offset: usize) {
        let end = offset + bytes.len();
        if self.live.len() < end {
            self.touch(self.live.len(), end);
            self.live.resize(end, 0);
        }
        self.touch(offset, end);
        self.live[offset..end].copy_from_slice(bytes);
    }

    pub(crate) fn truncate(&mut self, size: usize) {
        self.touch(size.min(self.live.len()), size.max(self.live.len()));
        self.was_cut |= size < self.live.len();
        self.live.resize(size, 0);
    }

    pub(crate) fn sync(&mut self, all: bool) {
        assert!(all || !self.was_cut, "a cut lasts only after sync_all");
        self.lasting.resize(self.live.len(), 0);
        for sector in std::mem::take(&mut self.unsynced) {
            self.keep(sector);
        }
        self.was_cut = false;
    }

    pub(crate) fn fail_to_sync(&mut self) {
        self.forgotten.append(&mut self.unsynced);
    }

    /// Each sector that was not synced is the old or the new one, and so is the length.
    pub(crate) fn lose_power(&mut self, rng: &mut TestRng) {
        let (old, new) = (self.lasting.len(), self.live.len());
        let between = old.min(new) + old.abs_diff(new) / 2;
        let size = [old, new, between][rng.next_u32() as usize % 3];
        self.lasting.resize(size, 0);
        let mut in_question = std::mem::take(&mut self.unsynced);
        in_question.append(&mut self.forgotten);
        for sector in in_question {
            if flip(rng) {
                self.keep(sector);
            }
        }
        let lasting = std::mem::take(&mut self.lasting);
        *self = Self { live: lasting.clone(), lasting, ..Self::default() };
    }

    fn keep(&mut self, sector: usize) {
        let from = sector * SECTOR;
        let to = (from + SECTOR).min(self.lasting.len()).min(self.live.len());
        if from < to {
            self.lasting[from..to].copy_from_slice(&self.live[from..to]);
        }
    }

    fn touch(&mut self, from: usize, to: usize) {
        for sector in from / SECTOR..to.div_ceil(SECTOR) {
            self.forgotten.remove(&sector);
            self.unsynced.insert(sector);
        }
    }
}
