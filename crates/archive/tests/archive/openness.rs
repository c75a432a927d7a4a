//! Opening: what is refused, and that refusing removes nothing.

use std::fs;
use std::path::Path;
use std::sync::Arc;

use rimeline_archive::{Archive, ArchiveError, LocalStore, Options, Snapshot};

use crate::support::{DAY, batch, meta, on_disk, open, options, reading, stored};

fn filled(root: &Path, flushes: u64) {
    let archive = open(root);
    for n in archive.position()..flushes {
        archive.add(&batch([("U1", reading(DAY + n as i64, 0))]), meta(n)).unwrap();
        archive.flush(n + 1).unwrap();
    }
}

fn refused(root: &Path, options: Options) -> ArchiveError {
    let before = on_disk(root);
    let error = Archive::open(Arc::new(LocalStore::new(root).unwrap()), options).unwrap_err();
    assert_eq!(on_disk(root), before, "a refusal removes nothing");
    error
}

#[test]
fn data_files_without_a_manifest_are_refused_and_left_alone() {
    let dir = tempfile::tempdir().unwrap();
    filled(dir.path(), 2);
    fs::remove_dir_all(dir.path().join("manifest")).unwrap();
    let error = refused(dir.path(), options());
    assert!(matches!(error, ArchiveError::NoManifest { files: 2, .. }), "{error}");
}

#[test]
fn every_flipped_byte_and_every_cut_of_a_manifest_file_is_found() {
    let dir = tempfile::tempdir().unwrap();
    filled(dir.path(), 1);
    for name in ["000000000000.summary.jsonl", "000000000001.record.jsonl"] {
        let path = dir.path().join("manifest").join(name);
        let good = fs::read(&path).unwrap();
        for at in 0..good.len() {
            let mut flipped = good.clone();
            flipped[at] ^= 0x04;
            fs::write(&path, flipped).unwrap();
            let error = refused(dir.path(), options());
            assert!(
                matches!(&error, ArchiveError::Manifest { file, .. } if file.ends_with(name)),
                "{at}: {error}"
            );
            if at + 2 < good.len() {
                fs::write(&path, &good[..at]).unwrap();
                refused(dir.path(), options());
            }
        }
        fs::write(&path, good).unwrap();
    }
    assert_eq!(open(dir.path()).position(), 1);
}

#[test]
fn a_missing_record_in_the_middle_is_found() {
    let dir = tempfile::tempdir().unwrap();
    filled(dir.path(), 3);
    fs::remove_file(dir.path().join("manifest/000000000002.record.jsonl")).unwrap();
    let error = refused(dir.path(), options());
    assert!(error.to_string().contains("record 2 should come here"), "{error}");
}

#[test]
fn an_old_copy_of_the_manifest_does_not_remove_newer_data() {
    let dir = tempfile::tempdir().unwrap();
    filled(dir.path(), 3);
    for record in [2, 3] {
        fs::remove_file(dir.path().join(format!("manifest/{record:012}.record.jsonl"))).unwrap();
    }
    let error = refused(dir.path(), options());
    assert!(matches!(error, ArchiveError::Stale { flushes: 2, .. }), "{error}");
}

#[test]
fn nothing_is_removed_while_a_named_file_is_missing() {
    let dir = tempfile::tempdir().unwrap();
    filled(dir.path(), 2);
    let files = on_disk(dir.path());
    let path = dir.path().join(&files[0]);
    let away = dir.path().join("away");
    fs::rename(&path, &away).unwrap();
    let stranger = path.with_file_name("000000000000-000000000001.parquet");
    fs::write(&stranger, "half").unwrap();
    let archive = open(dir.path());
    assert_eq!(archive.opened().lost, [files[0].clone()]);
    assert!(archive.opened().removed.is_empty() && stranger.exists());
    drop(archive);
    fs::rename(&away, &path).unwrap();
    assert_eq!(open(dir.path()).opened().removed.len(), 1);
    assert!(!stranger.exists());
    assert_eq!(stored(dir.path()).len(), 2);
}

#[test]
fn files_of_other_people_in_the_directory_are_left_alone() {
    let dir = tempfile::tempdir().unwrap();
    filled(dir.path(), 1);
    fs::write(dir.path().join("readings/notes.txt"), "ours").unwrap();
    fs::write(dir.path().join("README"), "ours").unwrap();
    let archive = open(dir.path());
    assert!(archive.opened().removed.is_empty());
    assert!(dir.path().join("readings/notes.txt").exists() && dir.path().join("README").exists());
}

#[test]
fn buckets_cannot_change_once_the_archive_is_made() {
    let dir = tempfile::tempdir().unwrap();
    filled(dir.path(), 1);
    let error = refused(dir.path(), Options { buckets: 5, ..options() });
    assert!(error.to_string().contains("set buckets = 4"), "{error}");
}

#[test]
fn options_outside_their_ranges_are_refused_by_name() {
    let dir = tempfile::tempdir().unwrap();
    let cases = [
        ("buckets", Options { buckets: 0, ..options() }),
        ("buckets", Options { buckets: 4_097, ..options() }),
        ("flush_rows", Options { flush_rows: 0, ..options() }),
        ("max_rows", Options { flush_rows: 10, max_rows: 9, ..options() }),
        ("merge_files", Options { merge_files: 1, ..options() }),
        ("merge_rows", Options { merge_rows: 0, ..options() }),
    ];
    for (name, options) in cases {
        assert!(refused(dir.path(), options).to_string().contains(name), "{name}");
    }
}

#[test]
fn a_reader_of_an_empty_place_is_told_that_there_is_no_archive() {
    let dir = tempfile::tempdir().unwrap();
    let error = Snapshot::load(&LocalStore::new(dir.path()).unwrap()).unwrap_err();
    assert!(matches!(error, ArchiveError::NoArchive(_)), "{error}");
}
