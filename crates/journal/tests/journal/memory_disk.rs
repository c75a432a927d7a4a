//! A disk in memory that forgets what was not synced, fails on demand and can lose power before any operation.

use std::collections::{BTreeMap, BTreeSet};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Condvar, Mutex, MutexGuard};
use std::time::Duration;

use proptest::prelude::Rng;
use proptest::test_runner::{RngAlgorithm, TestRng};
use rimeline_journal::disk::{Disk, DiskFile};

use crate::memory_file::Contents;

/// What can be made to fail.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Call {
    Create,
    Write,
    Truncate,
    SyncData,
    SyncAll,
    SyncDir,
    Rename,
    Unlink,
}

#[derive(Clone)]
pub(crate) struct MemoryDisk(Arc<Machine>);

struct Machine {
    state: Mutex<State>,
    changed: Condvar,
}

struct State {
    rng: TestRng,
    files: BTreeMap<u64, Contents>,
    names: BTreeMap<PathBuf, u64>,
    lasting_names: BTreeMap<PathBuf, u64>,
    /// Since the directory was last synced.
    name_changes: Vec<NameChange>,
    locks: BTreeSet<PathBuf>,
    next_inode: u64,
    /// Operations until the power goes.
    fuse: Option<u64>,
    is_off: bool,
    failures: Vec<(Call, io::ErrorKind)>,
    /// Bytes that all files together may have.
    capacity: Option<usize>,
    hold: bool,
    held: bool,
    operations: u64,
}

#[derive(Clone)]
enum NameChange {
    Set(PathBuf, u64),
    Move(PathBuf, PathBuf, u64),
    Remove(PathBuf),
}

impl NameChange {
    fn apply(self, names: &mut BTreeMap<PathBuf, u64>) {
        match self {
            Self::Set(path, inode) => drop(names.insert(path, inode)),
            Self::Remove(path) => drop(names.remove(&path)),
            Self::Move(from, to, inode) => {
                names.remove(&from);
                names.insert(to, inode);
            }
        }
    }
}

/// What becomes of a change.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Outcome {
    Whole,
    /// The power goes: not at all, in part or wholly, but nobody hears of it.
    Cut,
    Fails(io::ErrorKind),
}

impl Outcome {
    fn result(self) -> io::Result<()> {
        match self {
            Self::Whole => Ok(()),
            Self::Cut => Err(no_power()),
            Self::Fails(kind) => Err(kind.into()),
        }
    }
}

pub(crate) fn flip(rng: &mut TestRng) -> bool {
    rng.next_u32() & 1 == 1
}

fn no_power() -> io::Error {
    io::Error::other("the power is off")
}

impl MemoryDisk {
    pub(crate) fn new(seed: u64) -> Self {
        let mut bytes = [0; 32];
        bytes[..8].copy_from_slice(&seed.to_le_bytes());
        let state = State {
            rng: TestRng::from_seed(RngAlgorithm::ChaCha, &bytes),
            files: BTreeMap::new(),
            names: BTreeMap::new(),
            lasting_names: BTreeMap::new(),
            name_changes: Vec::new(),
            locks: BTreeSet::new(),
            next_inode: 0,
            fuse: None,
            is_off: false,
            failures: Vec::new(),
            capacity: None,
            hold: false,
            held: false,
            operations: 0,
        };
        Self(Arc::new(Machine { state: Mutex::new(state), changed: Condvar::new() }))
    }

    pub(crate) fn shared(&self) -> Arc<dyn Disk> {
        Arc::new(self.clone())
    }

    /// The power goes before this many more operations, in the middle of the one after.
    pub(crate) fn lose_power_after(&self, operations: u64) {
        self.state().fuse = Some(operations);
    }

    pub(crate) fn is_off(&self) -> bool {
        self.state().is_off
    }

    /// Changes to the disk so far, reads not counted.
    pub(crate) fn operations(&self) -> u64 {
        self.state().operations
    }

    /// Loses power, if it is not off already, and comes back with what lasts.
    pub(crate) fn power_cycle(&self) {
        let mut guard = self.state();
        let state = &mut *guard;
        for contents in state.files.values_mut() {
            contents.lose_power(&mut state.rng);
        }
        for change in std::mem::take(&mut state.name_changes) {
            if flip(&mut state.rng) {
                change.apply(&mut state.lasting_names);
            }
        }
        state.names = state.lasting_names.clone();
        let State { files, names, .. } = state;
        files.retain(|inode, _| names.values().any(|named| named == inode));
        state.locks.clear();
        (state.fuse, state.is_off) = (None, false);
    }

    /// The next call of this kind fails.
    pub(crate) fn fail_next(&self, call: Call, kind: io::ErrorKind) {
        self.state().failures.push((call, kind));
    }

    pub(crate) fn scheduled_failures(&self) -> usize {
        self.state().failures.len()
    }

    pub(crate) fn set_capacity(&self, bytes: Option<usize>) {
        self.state().capacity = bytes;
    }

    pub(crate) fn used(&self) -> usize {
        self.state().used()
    }

    /// From now on a sync of data does not return.
    pub(crate) fn hold_syncs(&self) {
        self.state().hold = true;
    }

    pub(crate) fn let_go(&self) {
        self.state().hold = false;
        self.0.changed.notify_all();
    }

    pub(crate) fn is_held(&self) -> bool {
        self.state().held
    }

    pub(crate) fn wait_until_held(&self) {
        let wait = self.0.changed.wait_timeout_while(self.state(), Duration::from_secs(20), |s| !s.held);
        assert!(wait.unwrap().0.held, "no sync was asked for");
    }

    fn state(&self) -> MutexGuard<'_, State> {
        self.0.state.lock().unwrap()
    }

    /// Counts a change, and says what becomes of it.
    fn change(&self, call: Call) -> io::Result<(MutexGuard<'_, State>, Outcome)> {
        let mut state = self.state();
        if state.is_off {
            return Err(no_power());
        }
        state.operations += 1;
        if let Some(at) = state.failures.iter().position(|(c, _)| *c == call) {
            let (_, kind) = state.failures.remove(at);
            return Ok((state, Outcome::Fails(kind)));
        }
        let outcome = match &mut state.fuse {
            Some(0) => {
                state.is_off = true;
                self.0.changed.notify_all();
                Outcome::Cut
            }
            Some(left) => {
                *left -= 1;
                Outcome::Whole
            }
            None => Outcome::Whole,
        };
        Ok((state, outcome))
    }

    /// A change of names happens or does not; if the power goes, either.
    fn rename_with(
        &self,
        call: Call,
        change: impl FnOnce(&State) -> io::Result<NameChange>,
    ) -> io::Result<()> {
        let (mut state, outcome) = self.change(call)?;
        if outcome == Outcome::Whole || outcome == Outcome::Cut && flip(&mut state.rng) {
            let change = change(&state)?;
            change.clone().apply(&mut state.names);
            state.name_changes.push(change);
        }
        outcome.result()
    }
}

impl State {
    fn used(&self) -> usize {
        self.names
            .values()
            .filter_map(|inode| self.files.get(inode))
            .map(|contents| contents.live.len())
            .sum()
    }

    fn inode(&self, path: &Path) -> io::Result<u64> {
        self.names.get(path).copied().ok_or_else(|| io::ErrorKind::NotFound.into())
    }
}

impl Disk for MemoryDisk {
    fn create_dir(&self, _dir: &Path) -> io::Result<()> {
        if self.is_off() { Err(no_power()) } else { Ok(()) }
    }

    fn list(&self, dir: &Path) -> io::Result<Vec<String>> {
        let state = self.state();
        if state.is_off {
            return Err(no_power());
        }
        let inside = state.names.keys().filter(|path| path.parent() == Some(dir));
        Ok(inside.map(|path| path.file_name().unwrap().to_str().unwrap().to_owned()).collect())
    }

    fn lock(&self, path: &Path) -> io::Result<Box<dyn Send>> {
        if !self.state().locks.insert(path.into()) {
            return Err(io::ErrorKind::WouldBlock.into());
        }
        Ok(Box::new(Lock(self.clone(), path.into())))
    }

    fn create(&self, path: &Path) -> io::Result<Arc<dyn DiskFile>> {
        let (mut state, outcome) = self.change(Call::Create)?;
        outcome.result()?;
        state.next_inode += 1;
        let inode = state.next_inode;
        state.files.insert(inode, Contents::default());
        state.names.insert(path.into(), inode);
        state.name_changes.push(NameChange::Set(path.into(), inode));
        Ok(Arc::new(MemoryFile(self.clone(), inode)))
    }

    fn open(&self, path: &Path) -> io::Result<Arc<dyn DiskFile>> {
        let inode = self.state().inode(path)?;
        Ok(Arc::new(MemoryFile(self.clone(), inode)))
    }

    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        self.rename_with(Call::Rename, |state| {
            Ok(NameChange::Move(from.into(), to.into(), state.inode(from)?))
        })
    }

    fn unlink(&self, path: &Path) -> io::Result<()> {
        self.rename_with(Call::Unlink, |state| state.inode(path).map(|_| NameChange::Remove(path.into())))
    }

    fn sync_dir(&self, _dir: &Path) -> io::Result<()> {
        let (mut state, outcome) = self.change(Call::SyncDir)?;
        outcome.result()?;
        state.lasting_names = state.names.clone();
        state.name_changes.clear();
        Ok(())
    }
}

struct Lock(MemoryDisk, PathBuf);

impl Drop for Lock {
    fn drop(&mut self) {
        self.0.state().locks.remove(&self.1);
    }
}

struct MemoryFile(MemoryDisk, u64);

impl MemoryFile {
    fn sync(&self, call: Call) -> io::Result<()> {
        let (mut state, outcome) = self.0.change(call)?;
        if let (Outcome::Fails(_), Some(contents)) = (outcome, state.files.get_mut(&self.1)) {
            contents.fail_to_sync();
        }
        outcome.result()?;
        while call == Call::SyncData && state.hold && !state.is_off {
            state.held = true;
            self.0.0.changed.notify_all();
            state = self.0.0.changed.wait(state).unwrap();
        }
        state.held = false;
        if let Some(contents) = state.files.get_mut(&self.1) {
            contents.sync(call == Call::SyncAll);
        }
        Ok(())
    }
}

impl DiskFile for MemoryFile {
    fn size(&self) -> io::Result<u64> {
        let state = self.0.state();
        Ok(state.files.get(&self.1).ok_or_else(no_power)?.live.len() as u64)
    }

    fn read_at(&self, buffer: &mut [u8], offset: u64) -> io::Result<()> {
        let state = self.0.state();
        let live = &state.files.get(&self.1).ok_or_else(no_power)?.live;
        let from = offset as usize;
        let held = live.get(from..from + buffer.len()).ok_or(io::ErrorKind::UnexpectedEof)?;
        buffer.copy_from_slice(held);
        Ok(())
    }

    fn write_at(&self, bytes: &[u8], offset: u64) -> io::Result<()> {
        let (mut state, outcome) = self.0.change(Call::Write)?;
        let free = state.capacity.map_or(usize::MAX, |capacity| capacity.saturating_sub(state.used()));
        let some = state.rng.next_u32() as usize % (bytes.len() + 1);
        let contents = state.files.get_mut(&self.1).ok_or_else(no_power)?;
        let fits = free.saturating_add(contents.live.len().saturating_sub(offset as usize)).min(bytes.len());
        let written = if outcome == Outcome::Whole { fits } else { some.min(fits) };
        contents.write(&bytes[..written], offset as usize);
        outcome.result()?;
        if fits == bytes.len() { Ok(()) } else { Err(io::ErrorKind::StorageFull.into()) }
    }

    fn truncate(&self, size: u64) -> io::Result<()> {
        let (mut state, outcome) = self.0.change(Call::Truncate)?;
        if outcome == Outcome::Whole || outcome == Outcome::Cut && flip(&mut state.rng) {
            state.files.get_mut(&self.1).ok_or_else(no_power)?.truncate(size as usize);
        }
        outcome.result()
    }

    fn sync_data(&self) -> io::Result<()> {
        self.sync(Call::SyncData)
    }

    fn sync_all(&self) -> io::Result<()> {
        self.sync(Call::SyncAll)
    }
}
