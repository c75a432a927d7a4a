//! The main job in one command.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::print_stderr,
    clippy::doc_markdown,
    unreachable_pub
)]

mod support;

use support::binary;

/// Feed, weekly list and what was planted are printed, planted faults of several families are named, and the process
/// ends by itself.
#[test]
fn the_demo_pushes_a_fleet_shows_feed_and_weekly_list_and_ends() {
    let folder = tempfile::tempdir().unwrap();
    let output = binary()
        .args(["demo", "--exit", "--units", "24", "--days", "45", "--data"])
        .arg(folder.path())
        .output()
        .unwrap();
    let text = String::from_utf8_lossy(&output.stdout);
    assert!(output.status.success(), "{text}\n{}", String::from_utf8_lossy(&output.stderr));
    for heading in ["The dispatcher's feed", "The planner's weekly list", "What was truly planted"] {
        assert!(text.contains(heading), "no `{heading}` in\n{text}");
    }
    assert!(!text.contains("No case stands"), "{text}");
    let verified = binary().arg("verify").arg("--data").arg(folder.path()).output().unwrap();
    let text = String::from_utf8_lossy(&verified.stdout);
    assert!(verified.status.success() && text.contains("files are good"), "{text}");
}
