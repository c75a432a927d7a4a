use std::collections::HashMap;

use crate::archive::Opened;
use crate::manifest::{DataFile, Snapshot};
use crate::partition::Dataset;
use crate::{ArchiveError, Listed, Store};

const DATA: &str = ".parquet";

/// Reads or makes the manifest, and removes data files that a crash left behind.
pub(crate) fn open(store: &dyn Store, buckets: u16) -> Result<(Snapshot, Opened), ArchiveError> {
    let snapshot = Snapshot::load_once(store)?;
    let listed = data_files(store)?;
    let Some(snapshot) = snapshot else {
        if !listed.is_empty() {
            return Err(ArchiveError::NoManifest { place: store.place(), files: listed.len() });
        }
        return Ok((Snapshot::create(store, buckets)?, Opened::default()));
    };
    if snapshot.buckets() != buckets {
        let (place, kept) = (store.place(), snapshot.buckets());
        return Err(ArchiveError::Buckets { place, kept, asked: buckets });
    }
    let strangers = strangers(&snapshot, &listed);
    refuse_stale(store, &snapshot, &strangers)?;
    let mut opened = Opened { removed: Vec::new(), lost: lost(&snapshot, &listed) };
    if opened.lost.is_empty() {
        for stranger in strangers {
            store.delete(&stranger.key)?;
            opened.removed.push(stranger.key.clone());
        }
    } else {
        tracing::error!(
            files = opened.lost.len(),
            first = opened.lost[0],
            "data files are gone or cut; restore them from a copy"
        );
    }
    if !opened.removed.is_empty() {
        tracing::info!(files = opened.removed.len(), "removed data files that a crash left behind");
    }
    Ok((snapshot, opened))
}

/// Every data file there is.
pub(crate) fn data_files(store: &dyn Store) -> Result<Vec<Listed>, ArchiveError> {
    let mut files = Vec::new();
    for dataset in Dataset::ALL {
        files.extend(store.list(dataset.name())?.into_iter().filter(|l| l.key.ends_with(DATA)));
    }
    Ok(files)
}

/// Data files that the manifest does not name.
pub(crate) fn strangers<'a>(snapshot: &Snapshot, listed: &'a [Listed]) -> Vec<&'a Listed> {
    let named: HashMap<&str, &DataFile> = snapshot.files().map(|f| (f.path.as_str(), f.as_ref())).collect();
    listed.iter().filter(|l| !named.contains_key(l.key.as_str())).collect()
}

fn lost(snapshot: &Snapshot, listed: &[Listed]) -> Vec<String> {
    let sizes: HashMap<&str, u64> = listed.iter().map(|l| (l.key.as_str(), l.size)).collect();
    snapshot
        .files()
        .filter(|f| sizes.get(f.path.as_str()) != Some(&f.bytes))
        .map(|f| f.path.clone())
        .collect()
}

/// A crash leaves the files of one flush at most. Several flushes beyond the manifest's position mean that the
/// manifest is an old copy, and removing what it does not know would be a loss.
fn refuse_stale(store: &dyn Store, snapshot: &Snapshot, strangers: &[&Listed]) -> Result<(), ArchiveError> {
    let mut beyond: Vec<u64> = strangers
        .iter()
        .filter_map(|l| first_position(&l.key))
        .filter(|p| *p >= snapshot.position())
        .collect();
    beyond.sort_unstable();
    beyond.dedup();
    if beyond.len() > 1 {
        return Err(ArchiveError::Stale { place: store.place(), flushes: beyond.len() });
    }
    Ok(())
}

fn first_position(key: &str) -> Option<u64> {
    key.rsplit('/').next()?.split('-').next()?.parse().ok()
}
