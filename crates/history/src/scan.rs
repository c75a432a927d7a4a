use std::sync::Arc;

use polars::prelude::*;
use rimeline_archive::{DataFile, Snapshot, Store};

use crate::{History, HistoryError};

/// A merge may remove a file between the look at the manifest and the scan; then the manifest names its heir. Merges
/// come minutes apart, so more than one further try is rare.
const TRIES: u32 = 20;

/// Files with the same columns, in the order of day and age.
pub(crate) struct Run {
    pub(crate) channels: u64,
    pub(crate) frame: LazyFrame,
}

/// Plans the reading of files. Neighbours with the same columns become one scan.
pub(crate) fn runs(store: &dyn Store, files: &[Arc<DataFile>]) -> PolarsResult<Vec<Run>> {
    let same = files.chunk_by(|a, b| a.channels == b.channels);
    same.map(|files| Ok(Run { channels: files[0].channels, frame: scan(store, files)? })).collect()
}

fn scan(store: &dyn Store, files: &[Arc<DataFile>]) -> PolarsResult<LazyFrame> {
    let paths: Option<Vec<_>> = files.iter().map(|f| store.local_path(&f.path)).collect();
    let sources = if let Some(paths) = paths {
        let paths = paths.iter().map(|path| PlRefPath::new(path.to_string_lossy().as_ref()));
        ScanSources::Paths(paths.collect())
    } else {
        let bytes = files.iter().map(|f| store.get(&f.path).map(Into::into).map_err(io_error));
        ScanSources::Buffers(bytes.collect::<PolarsResult<_>>()?)
    };
    let args = ScanArgsParquet {
        glob: false,
        cache: false,
        hive_options: HiveOptions::new_disabled(),
        ..ScanArgsParquet::default()
    };
    LazyFrame::scan_parquet_sources(sources, args)
}

fn io_error(error: rimeline_archive::StoreError) -> PolarsError {
    PolarsError::IO { error: Arc::new(std::io::Error::other(error)), msg: None }
}

impl History {
    /// Asks about files of one moment, and again with newer ones where some were removed meanwhile.
    pub(crate) fn ask<T, V>(
        &self,
        view: impl Fn() -> Result<(Arc<Snapshot>, V), HistoryError>,
        choose: impl Fn(&Snapshot) -> Vec<Arc<DataFile>>,
        answer: impl Fn(&[Arc<DataFile>], V) -> PolarsResult<T>,
    ) -> Result<T, HistoryError> {
        let mut tries = TRIES;
        loop {
            tries -= 1;
            let (snapshot, rest) = view()?;
            let files = choose(&snapshot);
            match answer(&files, rest) {
                Ok(found) => return Ok(found),
                Err(_) if tries > 0 && self.some_are_gone(&files) => {}
                Err(source) => return Err(self.failed(&files, source)),
            }
        }
    }

    fn some_are_gone(&self, files: &[Arc<DataFile>]) -> bool {
        files.iter().any(|f| matches!(self.store.size(&f.path), Ok(None)))
    }

    fn failed(&self, files: &[Arc<DataFile>], source: PolarsError) -> HistoryError {
        let named = match files {
            [] => "nothing".to_owned(),
            [one] => one.path.clone(),
            [first, .., last] => format!("{} files from {} to {}", files.len(), first.path, last.path),
        };
        HistoryError::Scan { files: named, place: self.store.place(), source: Box::new(source) }
    }
}
