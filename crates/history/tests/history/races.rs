use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use rimeline_channels::Channel;
use rimeline_history::History;

use crate::support::{DAY, add, batch, id, open, reading};

#[test]
fn answers_stay_whole_while_files_are_flushed_and_merged_away() {
    let dir = tempfile::tempdir().unwrap();
    let archive = open(dir.path());
    let beside = History::of_archive(archive.clone());
    let outside = History::of_files(archive.store().clone());
    let row = |n: u64| batch([("U1", reading(DAY + n as i64, &[(Channel::Coil, n as i32)]))]);
    add(&archive, 0, &row(0));
    archive.flush(1).unwrap();
    let done = AtomicBool::new(false);
    std::thread::scope(|scope| {
        scope.spawn(|| {
            for n in 1..60 {
                add(&archive, n, &row(n));
                archive.flush(n + 1).unwrap();
                std::thread::sleep(Duration::from_millis(10));
                for partition in archive.merge_due() {
                    archive.merge(partition).unwrap();
                }
            }
            done.store(true, Ordering::SeqCst);
        });
        let mut answers = 0;
        let mut seen = 0;
        while !done.load(Ordering::SeqCst) || answers < 2 {
            for history in [&beside, &outside] {
                let found = history.readings(&id("U1"), 0, i64::MAX, &[Channel::Coil]).unwrap();
                let expected: Vec<_> = (0..found.times.len() as i64).map(|n| DAY + n).collect();
                assert_eq!(found.times, expected, "no gap and nothing twice");
                seen = seen.max(found.times.len());
                answers += 1;
            }
        }
        assert!(seen > 1, "{answers} answers");
    });
    assert_eq!(beside.readings(&id("U1"), 0, i64::MAX, &[]).unwrap().times.len(), 60);
}
