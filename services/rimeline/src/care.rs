//! Looking after what is on disk.

use std::path::Path;

use anyhow::{Result, bail};
use rimeline_archive::{LocalStore, Snapshot};

use crate::show;

/// Checks every file of an archive against its manifest.
pub(crate) fn verify(data: &Path) -> Result<()> {
    let folder = data.join("archive");
    if !folder.is_dir() {
        bail!(
            "there is no archive in {}; --data is the folder that `rimeline serve --data` was given",
            data.display()
        );
    }
    let store = LocalStore::new(&folder)?;
    let snapshot = Snapshot::load(&store)?;
    let verified = rimeline_archive::verify(&store, &snapshot)?;
    for problem in &verified.problems {
        show::out(&format!("{}: {}", problem.file, problem.what))?;
    }
    for stranger in &verified.strangers {
        show::out(&format!("{stranger}: not in the manifest"))?;
    }
    show::out(&format!("{} files are good, with {} rows.", verified.good, verified.rows))?;
    if verified.problems.is_empty() {
        Ok(())
    } else {
        bail!("{} files are not good", verified.problems.len())
    }
}

/// Makes a damaged journal whole again.
pub(crate) fn repair(data: &Path) -> Result<()> {
    let report = rimeline_journal::repair(data.join("journal"))?;
    for damage in &report.damages {
        show::out(&format!(
            "{} at byte {}: {}; records from {} to {} are lost",
            damage.path.display(),
            damage.offset,
            damage.problem,
            damage.from,
            damage.to
        ))?;
    }
    for copy in &report.copies {
        show::out(&format!("kept a copy: {}", copy.display()))?;
    }
    show::out(&format!("The journal is whole: {} records in {} files.", report.records, report.segments))
}
