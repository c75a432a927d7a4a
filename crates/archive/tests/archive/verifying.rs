use std::fs;

use rimeline_archive::{LocalStore, Snapshot, Store, StoreError, verify};

use crate::support::{DAY, batch, meta, on_disk, open, reading};

#[test]
fn truncated_flipped_missing_and_strange_files_are_each_reported_by_name() {
    let dir = tempfile::tempdir().unwrap();
    let archive = open(dir.path());
    for n in 0..5 {
        archive.add(&batch([("U1", reading(DAY + n, 0))]), meta(n as u64)).unwrap();
        archive.flush(n as u64 + 1).unwrap();
    }
    let clean = archive.verify().unwrap();
    assert!(clean.is_clean());
    assert_eq!((clean.good, clean.rows), (5, 5));

    let files = on_disk(dir.path());
    let path = |i: usize| dir.path().join(&files[i]);
    let bytes = fs::read(path(0)).unwrap();
    fs::write(path(0), &bytes[..bytes.len() - 1]).unwrap();
    let mut flipped = fs::read(path(1)).unwrap();
    let middle = flipped.len() / 2;
    flipped[middle] ^= 0x10;
    fs::write(path(1), flipped).unwrap();
    fs::remove_file(path(2)).unwrap();
    let stranger = path(3).with_file_name("000000000099-000000000099.parquet");
    fs::write(&stranger, "strange").unwrap();

    let verified = verify(archive.store().as_ref(), &archive.snapshot()).unwrap();
    let problems: Vec<_> = verified.problems.iter().map(|p| (p.file.as_str(), p.what.as_str())).collect();
    assert_eq!(problems.len(), 3);
    assert_eq!(problems[0].0, files[0]);
    assert!(problems[0].1.contains("bytes"), "{problems:?}");
    assert_eq!(problems[1], (files[1].as_str(), "its checksum is not the one it was written with"));
    assert_eq!(problems[2], (files[2].as_str(), "it is not there"));
    assert_eq!(verified.good, 2);
    assert_eq!(verified.strangers.len(), 1);
    assert!(verified.strangers[0].ends_with("000000000099-000000000099.parquet"));
}

#[test]
fn every_flipped_bit_of_a_data_file_is_found() {
    let dir = tempfile::tempdir().unwrap();
    let archive = open(dir.path());
    archive.add(&batch([("U1", reading(DAY, 0))]), meta(0)).unwrap();
    archive.flush(1).unwrap();
    let path = dir.path().join(&on_disk(dir.path())[0]);
    let good = fs::read(&path).unwrap();
    for at in (0..good.len()).step_by(37) {
        let mut flipped = good.clone();
        flipped[at] ^= 1 << (at % 8);
        fs::write(&path, flipped).unwrap();
        assert_eq!(archive.verify().unwrap().problems.len(), 1, "byte {at}");
    }
    fs::write(&path, good).unwrap();
    assert!(archive.verify().unwrap().is_clean());
}

#[test]
fn a_footer_that_disagrees_with_the_manifest_is_found_even_where_the_checksum_holds() {
    let dir = tempfile::tempdir().unwrap();
    let archive = open(dir.path());
    archive.add(&batch([("U1", reading(DAY, 0))]), meta(0)).unwrap();
    archive.flush(1).unwrap();
    drop(archive);
    let record = dir.path().join("manifest/000000000001.record.jsonl");
    let text = fs::read_to_string(&record).unwrap();
    let line = text.lines().next().unwrap().replace("\"rows\":1", "\"rows\":2");
    fs::write(&record, format!("{line}\n{{\"crc32c\":{}}}\n", crc32c::crc32c(line.as_bytes()))).unwrap();
    let store = LocalStore::new(dir.path()).unwrap();
    let verified = verify(&store, &Snapshot::load(&store).unwrap()).unwrap();
    assert_eq!(verified.problems[0].what, "its footer says 1 rows and the manifest 2");
}

#[test]
fn keys_that_lead_out_of_the_store_are_refused() {
    let dir = tempfile::tempdir().unwrap();
    let store = LocalStore::new(dir.path().join("inside")).unwrap();
    for key in ["../out", "/etc/out", "a//b", "a/../../out", "", "."] {
        assert!(store.put(key, b"x").is_err(), "{key:?}");
        assert!(store.get_range(key, 0..1).is_err(), "{key:?}");
        assert!(store.local_path(key).is_none(), "{key:?}");
    }
    assert!(matches!(store.get("absent"), Err(StoreError::Missing(_))));
    assert_eq!(fs::read_dir(dir.path()).unwrap().count(), 1);
}

#[test]
fn an_object_is_replaced_whole_and_a_new_one_never_replaces() {
    let dir = tempfile::tempdir().unwrap();
    let store = LocalStore::new(dir.path()).unwrap();
    store.put("a/b", b"one").unwrap();
    store.put("a/b", b"second").unwrap();
    assert_eq!(store.get("a/b").unwrap(), b"second");
    assert_eq!(store.get_range("a/b", 1..3).unwrap(), b"ec");
    assert!(store.get_range("a/b", 1..30).is_err());
    assert!(matches!(store.put_new("a/b", b"third"), Err(StoreError::Exists(_))));
    assert_eq!(store.get("a/b").unwrap(), b"second");
    assert_eq!(store.size("a/b").unwrap(), Some(6));
    store.delete("a/b").unwrap();
    store.delete("a/b").unwrap();
    assert_eq!(store.size("a/b").unwrap(), None);
    assert_eq!(fs::read_dir(dir.path().join("tmp")).unwrap().count(), 0);
}
