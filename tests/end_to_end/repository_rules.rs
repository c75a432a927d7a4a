//! The rules of this repository that a program can check.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::print_stderr,
    clippy::doc_markdown,
    unreachable_pub
)]

mod support;

use std::path::{Path, PathBuf};
use std::process::Command;

fn tracked(ending: &str) -> Vec<PathBuf> {
    let output =
        Command::new("git").args(["ls-files", "-z"]).current_dir(support::repository()).output().unwrap();
    let names = String::from_utf8(output.stdout).unwrap();
    let paths = names.split('\0').filter(|name| name.ends_with(ending));
    paths.map(|name| support::repository().join(name)).filter(|path| path.is_file()).collect()
}

fn is_test(path: &Path) -> bool {
    let text = path.to_string_lossy();
    ["/tests/", "/benches/", "/examples/"].iter().any(|part| text.contains(part))
        || text.ends_with("tests.rs")
}

#[test]
fn no_source_file_is_over_800_lines_and_half_of_them_are_at_most_150() {
    let mut lengths = Vec::new();
    for path in tracked(".rs").into_iter().filter(|path| !is_test(path)) {
        let lines = std::fs::read_to_string(&path).unwrap().lines().count();
        assert!(lines <= 800, "{} has {lines} lines: split it", path.display());
        lengths.push(lines);
    }
    lengths.sort_unstable();
    let median = lengths[lengths.len() / 2];
    assert!(median <= 150, "the median source file has {median} lines");
}

#[test]
fn nothing_is_left_for_later() {
    // Written apart, so that this file does not find itself.
    let words = [
        ["TO", "DO"].concat(),
        ["FIX", "ME"].concat(),
        ["todo", "!("].concat(),
        ["unimpl", "emented!("].concat(),
    ];
    for ending in [".rs", ".md", ".proto", ".py", ".toml", "run"] {
        for path in tracked(ending) {
            let text = std::fs::read_to_string(&path).unwrap();
            for word in &words {
                assert!(!text.contains(word.as_str()), "{}: `{word}`", path.display());
            }
        }
    }
}

#[test]
fn every_crate_says_what_it_is_for_and_is_in_the_code_map() {
    let map = std::fs::read_to_string(support::repository().join("DEVELOPERS.md")).unwrap();
    for manifest in tracked("/Cargo.toml") {
        let text = std::fs::read_to_string(&manifest).unwrap();
        assert!(text.contains("description = \""), "{}: no description", manifest.display());
        let folder = manifest.parent().unwrap().strip_prefix(support::repository()).unwrap();
        let name = format!("`{}`", folder.display());
        assert!(map.contains(&name), "DEVELOPERS.md does not name {name}");
    }
}
