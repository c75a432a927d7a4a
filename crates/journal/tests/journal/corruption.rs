//! What must be found at start, and what must not be mistaken for damage.

use std::fs;
use std::path::Path;

use rimeline_journal::{Journal, JournalError, LocalJournal, Options, Position};

use crate::memory_disk::MemoryDisk;
use crate::{open, read_all, record, segments, small, written};

/// The journal does not open, and says which file and to repair it.
fn refused(dir: &Path) -> JournalError {
    let before: Vec<_> = contents(dir);
    let error = LocalJournal::open(dir, small()).err().expect("a damaged journal opened");
    assert_eq!(before, contents(dir), "a refused journal was changed");
    error
}

fn contents(dir: &Path) -> Vec<(std::path::PathBuf, Vec<u8>)> {
    segments(dir).into_iter().map(|path| (path.clone(), fs::read(path).unwrap())).collect()
}

#[track_caller]
fn assert_damaged(error: &JournalError, file: &Path, at: Option<u64>) {
    let JournalError::Damaged { path, offset, .. } = error else { panic!("{error}") };
    assert_eq!(path, file);
    assert!(at.is_none_or(|at| at == *offset), "found at {offset}, is at {at:?}");
    let dir = file.parent().unwrap().display();
    assert!(error.to_string().contains(&format!("`rimeline repair {dir}`")), "{error}");
}

fn flip_bit(path: &Path, offset: u64) {
    let mut bytes = fs::read(path).unwrap();
    bytes[offset as usize] ^= 0x10;
    fs::write(path, bytes).unwrap();
}

/// A journal that was not closed, so that nothing but its segments tells where it ended.
async fn unclosed(dir: &Path, count: usize) {
    let journal = open(dir);
    for number in 0..count {
        journal.append(record(number, 100).into()).await.unwrap();
    }
}

#[tokio::test]
async fn a_last_frame_torn_at_any_byte_is_cut_and_everything_before_it_stays() {
    let dir = tempfile::tempdir().unwrap();
    unclosed(dir.path(), 3).await;
    let path = segments(dir.path()).pop().unwrap();
    let whole = fs::read(&path).unwrap();
    let frame = 116;
    for missing in 1..=frame {
        fs::write(&path, &whole[..whole.len() - missing]).unwrap();
        let journal = open(dir.path());
        let found: Vec<_> = read_all(&journal, Position::START).into_iter().map(|e| e.record).collect();
        assert_eq!(found, [record(0, 100), record(1, 100)], "{missing} bytes missing");
        journal.append(record(7, 60).into()).await.unwrap();
        drop(journal);
        assert_eq!(read_all(&open(dir.path()), Position::START)[2].record, record(7, 60));
        fs::write(&path, &whole).unwrap();
    }
}

#[tokio::test]
async fn zeros_after_the_last_frame_are_a_torn_write() {
    let dir = tempfile::tempdir().unwrap();
    unclosed(dir.path(), 3).await;
    let path = segments(dir.path()).pop().unwrap();
    let mut bytes = fs::read(&path).unwrap();
    bytes.resize(bytes.len() + 1000, 0);
    fs::write(&path, bytes).unwrap();
    assert_eq!(read_all(&open(dir.path()), Position::START).len(), 3);
}

#[tokio::test]
async fn a_flipped_bit_in_any_byte_of_an_earlier_frame_is_damage() {
    let dir = tempfile::tempdir().unwrap();
    unclosed(dir.path(), 3).await;
    let path = segments(dir.path()).pop().unwrap();
    for offset in 128..128 + 2 * 116 {
        flip_bit(&path, offset);
        assert_damaged(&refused(dir.path()), &path, Some(if offset < 244 { 128 } else { 244 }));
        flip_bit(&path, offset);
    }
    assert_eq!(read_all(&open(dir.path()), Position::START).len(), 3);
}

#[tokio::test]
async fn a_flipped_bit_in_the_very_last_frame_is_damage_after_a_clean_end() {
    let dir = tempfile::tempdir().unwrap();
    written(dir.path(), 3).await;
    let path = segments(dir.path()).pop().unwrap();
    flip_bit(&path, 128 + 2 * 116 + 50);
    assert_damaged(&refused(dir.path()), &path, Some(128 + 2 * 116));
}

#[tokio::test]
async fn a_flipped_bit_or_a_zero_page_in_any_closed_segment_is_damage() {
    let dir = tempfile::tempdir().unwrap();
    unclosed(dir.path(), 150).await;
    for path in &segments(dir.path())[..4] {
        let whole = fs::read(path).unwrap();
        flip_bit(path, whole.len() as u64 - 1);
        assert_damaged(&refused(dir.path()), path, None);

        let mut zeroed = whole.clone();
        zeroed[1024..2048].fill(0);
        fs::write(path, zeroed).unwrap();
        assert_damaged(&refused(dir.path()), path, None);
        fs::write(path, whole).unwrap();
    }
    assert_eq!(read_all(&open(dir.path()), Position::START).len(), 150);
}

#[tokio::test]
async fn a_missing_or_shortened_segment_is_damage_wherever_it_is() {
    let dir = tempfile::tempdir().unwrap();
    written(dir.path(), 150).await;
    let paths = segments(dir.path());
    for (number, path) in paths.iter().enumerate() {
        let whole = fs::read(path).unwrap();
        fs::remove_file(path).unwrap();
        let error = refused(dir.path());
        // A gap shows at the end of the file before it; a gap at the very start at the file itself.
        assert_damaged(&error, &paths[number.saturating_sub(1)], None);
        fs::write(path, &whole[..whole.len() - 1]).unwrap();
        assert_damaged(&refused(dir.path()), path, None);
        fs::write(path, whole).unwrap();
    }
    assert_eq!(read_all(&open(dir.path()), Position::START).len(), 150);
}

#[tokio::test]
async fn all_segments_missing_is_damage_and_not_a_new_journal() {
    let dir = tempfile::tempdir().unwrap();
    written(dir.path(), 150).await;
    for path in segments(dir.path()) {
        fs::remove_file(path).unwrap();
    }
    assert!(matches!(refused(dir.path()), JournalError::Damaged { .. }));
}

#[tokio::test]
async fn a_damaged_header_is_damage_at_every_byte() {
    let dir = tempfile::tempdir().unwrap();
    written(dir.path(), 50).await;
    for path in segments(dir.path()) {
        for offset in 0..128 {
            flip_bit(&path, offset);
            let error = refused(dir.path());
            assert_damaged(&error, &path, Some(0));
            flip_bit(&path, offset);
        }
    }
}

#[tokio::test]
async fn a_damaged_or_missing_checkpoint_is_damage_once_there_are_records() {
    let dir = tempfile::tempdir().unwrap();
    written(dir.path(), 3).await;
    let path = dir.path().join("checkpoint");
    let length = fs::read(&path).unwrap().len() as u64;
    for offset in 0..length {
        flip_bit(&path, offset);
        assert_damaged(&refused(dir.path()), &path, None);
        flip_bit(&path, offset);
    }
    fs::remove_file(&path).unwrap();
    assert_damaged(&refused(dir.path()), &path, None);
}

#[tokio::test]
async fn a_segment_of_another_journal_is_damage() {
    let (dir, other) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    written(dir.path(), 50).await;
    written(other.path(), 50).await;
    let path = &segments(dir.path())[1];
    fs::copy(&segments(other.path())[1], path).unwrap();
    assert_damaged(&refused(dir.path()), path, Some(0));
}

#[tokio::test]
async fn a_segment_under_another_name_is_damage() {
    let dir = tempfile::tempdir().unwrap();
    written(dir.path(), 100).await;
    let paths = segments(dir.path());
    fs::copy(&paths[0], &paths[1]).unwrap();
    assert_damaged(&refused(dir.path()), &paths[1], Some(0));
}

#[tokio::test]
async fn a_frame_at_another_place_than_its_own_is_damage() {
    let dir = tempfile::tempdir().unwrap();
    written(dir.path(), 3).await;
    let path = segments(dir.path()).pop().unwrap();
    let mut bytes = fs::read(&path).unwrap();
    bytes.copy_within(128..244, 244);
    fs::write(&path, bytes).unwrap();
    assert_damaged(&refused(dir.path()), &path, Some(244));
}

#[tokio::test]
async fn what_a_torn_group_left_never_comes_back_behind_later_records() {
    let disk = MemoryDisk::new(1);
    let journal = LocalJournal::open_on(disk.shared(), "/j", small()).unwrap();
    disk.hold_syncs();
    let first = journal.append(record(0, 100).into());
    disk.wait_until_held();
    let group: Vec<_> = (1..4).map(|n| journal.append(record(n, 100).into())).collect();
    disk.let_go();
    first.await.unwrap();
    for one in group {
        one.await.unwrap();
    }
    drop(journal);
    // As if the power had gone before the group was synced, and its first frame had not made it.
    let file = disk.shared().open(Path::new("/j/00000000000000000000.segment")).unwrap();
    file.write_at(&[0; 116], 128 + 116).unwrap();

    let journal = LocalJournal::open_on(disk.shared(), "/j", small()).unwrap();
    assert_eq!(read_all(&journal, Position::START).len(), 1);
    journal.append(record(7, 100).into()).await.unwrap();
    drop(journal);
    let journal = LocalJournal::open_on(disk.shared(), "/j", small()).unwrap();
    let found: Vec<_> = read_all(&journal, Position::START).into_iter().map(|e| e.record).collect();
    assert_eq!(found, [record(0, 100), record(7, 100)]);
}

#[tokio::test]
async fn what_a_crash_left_unfinished_or_not_yet_removed_is_removed() {
    let dir = tempfile::tempdir().unwrap();
    written(dir.path(), 100).await;
    let first = segments(dir.path()).remove(0);
    let bytes = fs::read(&first).unwrap();
    let journal = open(dir.path());
    journal.trim(journal.end()).unwrap();
    drop(journal);
    let left =
        [first, dir.path().join("checkpoint.tmp"), dir.path().join("00000000000000099999.segment.tmp")];
    for path in &left {
        fs::write(path, &bytes).unwrap();
    }
    let journal = open(dir.path());
    assert!(journal.start() > Position::START);
    assert!(left.iter().all(|path| !path.exists()));
}

#[tokio::test]
async fn a_newer_format_is_told_from_damage() {
    let dir = tempfile::tempdir().unwrap();
    written(dir.path(), 3).await;
    let path = segments(dir.path()).pop().unwrap();
    let mut bytes = fs::read(&path).unwrap();
    bytes[8] = 2;
    let sum = crc32c::crc32c(&bytes[..124]);
    bytes[124..128].copy_from_slice(&sum.to_le_bytes());
    fs::write(&path, bytes).unwrap();
    let error = refused(dir.path());
    assert!(matches!(error, JournalError::Version { found: 2, known: 1, .. }), "{error}");
}

#[tokio::test]
async fn the_directory_of_another_node_or_configuration_is_refused() {
    let dir = tempfile::tempdir().unwrap();
    written(dir.path(), 3).await;
    for options in [Options { node: "b".into(), ..small() }, Options { config_hash: 7, ..small() }] {
        let error = LocalJournal::open(dir.path(), options).err().unwrap();
        assert!(matches!(error, JournalError::Foreign { .. }), "{error}");
    }
    open(dir.path());
}

#[test]
fn a_directory_with_other_files_never_becomes_a_journal() {
    let dir = tempfile::tempdir().unwrap();
    fs::write(dir.path().join("notes.txt"), "mine").unwrap();
    let error = LocalJournal::open(dir.path(), small()).err().unwrap();
    assert!(matches!(error, JournalError::Foreign { .. }), "{error}");
    assert!(error.to_string().contains("notes.txt"), "{error}");
}

#[test]
fn an_empty_mount_point_becomes_a_journal() {
    let dir = tempfile::tempdir().unwrap();
    fs::create_dir(dir.path().join("lost+found")).unwrap();
    open(dir.path());
}

#[tokio::test]
async fn damage_that_comes_while_running_is_told_by_the_read_that_meets_it() {
    let dir = tempfile::tempdir().unwrap();
    let journal = open(dir.path());
    for number in 0..4 {
        journal.append(record(number, 100).into()).await.unwrap();
    }
    let path = segments(dir.path()).pop().unwrap();
    for within in [0, 5, 13, 70] {
        let offset = 128 + 2 * 116 + within;
        flip_bit(&path, offset);
        let before = journal.read(Position::START, 4096).unwrap();
        assert_eq!(before.len(), 2);
        assert_damaged(&journal.read(before[1].next, 4096).unwrap_err(), &path, Some(128 + 2 * 116));
        flip_bit(&path, offset);
    }
    assert_eq!(read_all(&journal, Position::START).len(), 4);
}

#[tokio::test]
async fn a_record_that_holds_a_journal_cannot_pass_for_one() {
    // The bytes of a segment, sent as a record and then torn, must not look like frames that come after a tear.
    let disk = MemoryDisk::new(3);
    let dir = tempfile::tempdir().unwrap();
    unclosed(dir.path(), 10).await;
    let bait = fs::read(&segments(dir.path())[0]).unwrap();
    for seed in 0..40 {
        let journal = LocalJournal::open_on(disk.shared(), format!("/{seed}"), small()).unwrap();
        disk.lose_power_after(1);
        journal.append(bait.clone().into()).await.unwrap_err();
        drop(journal);
        disk.power_cycle();
        LocalJournal::open_on(disk.shared(), format!("/{seed}"), small()).unwrap();
    }
}
