//! Which files count, and up to which journal position they hold everything.
//!
//! The manifest is a row of small numbered files under `manifest/`. Each record says what one flush, merge or
//! removal changed; every [`RECORDS_PER_SUMMARY`] records a summary repeats the whole, and what came before it is
//! removed. So a commit costs the same with ten files as with a hundred thousand, and it is one file that is there or
//! is not. Each file is a line of JSON and a second line with the CRC-32C of the first.

use std::collections::BTreeMap;
use std::sync::Arc;

use rimeline_channels::{Channel, Id, UnixMs};
use serde::{Deserialize, Serialize, de::DeserializeOwned};

use crate::partition::bucket_of;
use crate::{ArchiveError, Dataset, Day, Partition, Store, StoreError};

pub(crate) const DIRECTORY: &str = "manifest";
/// Version of the manifest and of the layout of files.
pub const FORMAT: u32 = 1;
/// Records after which the whole is written again.
pub const RECORDS_PER_SUMMARY: u64 = 64;
/// Another process may be removing what a summary replaced while this one reads.
const READ_TRIES: u32 = 5;

/// One data file.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct DataFile {
    /// Key in the store.
    pub path: String,
    /// Where its rows belong.
    #[serde(flatten)]
    pub partition: Partition,
    /// How often its rows were merged: 0 is fresh from a flush.
    pub level: u8,
    /// Rows.
    pub rows: u64,
    /// Length.
    pub bytes: u64,
    /// Time of the earliest row.
    pub min_time: UnixMs,
    /// Time of the latest row.
    pub max_time: UnixMs,
    /// The first unit in the order of their ids.
    pub min_unit: String,
    /// The last unit.
    pub max_unit: String,
    /// How many units it has.
    pub units: u64,
    /// First journal position of the flush or flushes it came from.
    pub first: u64,
    /// Last one.
    pub last: u64,
    /// Channels that have a column: the sum of their [`Channel::bit`]s. 0 for events.
    pub channels: u64,
    /// CRC-32C of all bytes.
    pub crc32c: u32,
}

impl DataFile {
    /// Whether the file has a column for a channel.
    pub fn has(&self, channel: Channel) -> bool {
        self.channels & channel.bit() != 0
    }

    /// Whether the file may hold rows of a unit.
    pub fn may_hold(&self, unit: &Id) -> bool {
        (self.min_unit.as_str()..=self.max_unit.as_str()).contains(&unit.as_str())
    }
}

/// One change.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Record {
    pub(crate) format: u32,
    #[serde(rename = "record")]
    pub(crate) number: u64,
    pub(crate) position: u64,
    pub(crate) added: Vec<DataFile>,
    pub(crate) removed: Vec<DataFile>,
}

/// The whole as of a record.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
struct Summary {
    format: u32,
    record: u64,
    buckets: u16,
    position: u64,
    files: Vec<Arc<DataFile>>,
}

/// What the manifest says at one moment. Cheap to keep: files are shared.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Snapshot {
    pub(crate) record: u64,
    buckets: u16,
    position: u64,
    files: BTreeMap<Partition, Vec<Arc<DataFile>>>,
}

/// What every version of a manifest file has.
#[derive(Deserialize)]
struct Version {
    format: u32,
}

/// The second line of a manifest file.
#[derive(Serialize, Deserialize)]
struct Seal {
    crc32c: u32,
}

impl Snapshot {
    /// Reads the manifest of an archive, which another process may be writing to.
    pub fn load(store: &dyn Store) -> Result<Self, ArchiveError> {
        let mut tries = READ_TRIES;
        loop {
            match Self::load_once(store) {
                Ok(Some(snapshot)) => return Ok(snapshot),
                Ok(None) => return Err(ArchiveError::NoArchive(store.place())),
                // Both happen when a summary replaces records between the listing and the reading.
                Err(ArchiveError::Store(StoreError::Missing(_)) | ArchiveError::Manifest { .. })
                    if tries > 1 =>
                {
                    tries -= 1;
                }
                Err(error) => return Err(error),
            }
        }
    }

    /// `None` where there is no manifest.
    pub(crate) fn load_once(store: &dyn Store) -> Result<Option<Self>, ArchiveError> {
        let listed = store.list(DIRECTORY)?;
        let numbered = |suffix: &'static str| {
            listed.iter().filter_map(move |l| {
                let number = l.key.strip_prefix("manifest/")?.strip_suffix(suffix)?;
                Some((number.parse::<u64>().ok()?, l.key.as_str()))
            })
        };
        let Some((summed, key)) = numbered(".summary.jsonl").max() else {
            return match listed.first() {
                None => Ok(None),
                Some(l) => Err(damaged(store, &l.key, "there is no summary to start from".to_owned())),
            };
        };
        let summary: Summary = read(store, key)?;
        let mut files = BTreeMap::<_, Vec<_>>::new();
        for file in summary.files {
            files.entry(file.partition).or_default().push(file);
        }
        let mut snapshot =
            Self { record: summed, buckets: summary.buckets, position: summary.position, files };
        for (number, key) in numbered(".record.jsonl").filter(|(number, _)| *number > summed) {
            let record: Record = read(store, key)?;
            if number != snapshot.record + 1 || record.number != number {
                let what = format!("record {} should come here", snapshot.record + 1);
                return Err(damaged(store, key, what));
            }
            snapshot.apply(&record);
        }
        Ok(Some(snapshot))
    }

    /// The manifest of an archive that is being made.
    pub(crate) fn create(store: &dyn Store, buckets: u16) -> Result<Self, ArchiveError> {
        let snapshot = Self { record: 0, buckets, position: 0, files: BTreeMap::new() };
        store.put_new(&summary_key(0), &seal(&snapshot.summary()))?;
        Ok(snapshot)
    }

    /// Number of buckets, fixed when the archive was made.
    pub fn buckets(&self) -> u16 {
        self.buckets
    }

    /// Everything before this journal position is in the files.
    pub fn position(&self) -> u64 {
        self.position
    }

    /// Every file, by partition and then by age.
    pub fn files(&self) -> impl Iterator<Item = &Arc<DataFile>> {
        self.files.values().flatten()
    }

    /// The files of a partition, oldest first.
    pub fn partition(&self, partition: &Partition) -> &[Arc<DataFile>] {
        self.files.get(partition).map_or(&[], Vec::as_slice)
    }

    /// Partitions and their files.
    pub fn partitions(&self) -> impl Iterator<Item = (&Partition, &[Arc<DataFile>])> {
        self.files.iter().map(|(partition, files)| (partition, files.as_slice()))
    }

    /// Files of a dataset with rows in `from..until`, of one unit or of all, by day and then by age.
    pub fn files_in<'a>(
        &'a self,
        dataset: Dataset,
        unit: Option<&'a Id>,
        from: UnixMs,
        until: UnixMs,
    ) -> impl Iterator<Item = &'a Arc<DataFile>> {
        let bucket = unit.map(|unit| bucket_of(unit, self.buckets));
        let first = Partition { dataset, day: Day::of(from.max(Day::FIRST_MS)), bucket: 0 };
        self.files
            .range(first..)
            .take_while(move |(partition, _)| {
                partition.dataset == dataset && partition.day.start_ms() < until
            })
            .filter(move |(partition, _)| bucket.is_none_or(|bucket| bucket == partition.bucket))
            .flat_map(|(_, files)| files)
            .filter(move |f| f.min_time < until && f.max_time >= from)
            .filter(move |f| unit.is_none_or(|unit| f.may_hold(unit)))
    }

    pub(crate) fn apply(&mut self, record: &Record) {
        for gone in &record.removed {
            if let Some(files) = self.files.get_mut(&gone.partition) {
                files.retain(|f| f.path != gone.path);
                if files.is_empty() {
                    self.files.remove(&gone.partition);
                }
            }
        }
        for file in &record.added {
            let files = self.files.entry(file.partition).or_default();
            files.push(Arc::new(file.clone()));
            files.sort_by_key(|f| f.first);
        }
        self.record = record.number;
        self.position = record.position;
    }

    fn summary(&self) -> Summary {
        let files = self.files().cloned().collect();
        Summary { format: FORMAT, record: self.record, buckets: self.buckets, position: self.position, files }
    }
}

/// Makes a record durable. After an error it is not known whether it is.
pub(crate) fn commit(store: &dyn Store, record: &Record) -> Result<(), ArchiveError> {
    Ok(store.put_new(&record_key(record.number), &seal(record))?)
}

/// Writes the whole where enough records have gathered, and removes what it replaces.
pub(crate) fn summarise(store: &dyn Store, snapshot: &Snapshot) -> Result<(), ArchiveError> {
    if !snapshot.record.is_multiple_of(RECORDS_PER_SUMMARY) {
        return Ok(());
    }
    let kept = summary_key(snapshot.record);
    store.put(&kept, &seal(&snapshot.summary()))?;
    let next = record_key(snapshot.record + 1);
    for old in store.list(DIRECTORY)? {
        // Keys are zero-padded, so their order is that of their numbers.
        if old.key < next && old.key != kept {
            store.delete(&old.key)?;
        }
    }
    Ok(())
}

fn record_key(record: u64) -> String {
    format!("{DIRECTORY}/{record:012}.record.jsonl")
}

fn summary_key(record: u64) -> String {
    format!("{DIRECTORY}/{record:012}.summary.jsonl")
}

fn seal<T: Serialize>(value: &T) -> Vec<u8> {
    // Structs of plain fields always become JSON; were it not so, the empty text would be refused when read.
    let mut text = serde_json::to_vec(value).unwrap_or_default();
    let crc32c = crc32c::crc32c(&text);
    text.extend_from_slice(format!("\n{{\"crc32c\":{crc32c}}}\n").as_bytes());
    text
}

fn read<T: DeserializeOwned>(store: &dyn Store, key: &str) -> Result<T, ArchiveError> {
    let bytes = store.get(key)?;
    let bad = |what: String| damaged(store, key, what);
    let end = bytes.iter().position(|b| *b == b'\n').ok_or_else(|| bad("it is cut short".to_owned()))?;
    let (text, rest) = bytes.split_at(end);
    let seal: Seal =
        serde_json::from_slice(rest).map_err(|e| bad(format!("its checksum line is unreadable ({e})")))?;
    if seal.crc32c != crc32c::crc32c(text) {
        return Err(bad("its checksum does not match".to_owned()));
    }
    let version: Version = serde_json::from_slice(text).map_err(|e| bad(e.to_string()))?;
    if version.format != FORMAT {
        let what = format!("it has format {} and this program knows {FORMAT}", version.format);
        return Err(bad(what));
    }
    serde_json::from_slice(text).map_err(|e| bad(e.to_string()))
}

fn damaged(store: &dyn Store, file: &str, what: String) -> ArchiveError {
    ArchiveError::Manifest { file: file.to_owned(), place: store.place(), what }
}
