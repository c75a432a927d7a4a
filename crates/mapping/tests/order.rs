//! The order in which rows of one and of several files leave, and how they are cut into batches.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod common;

use common::{SMALL, mapping};
use proptest::prelude::*;
use rimeline_channels::Channel;
use rimeline_mapping::{Mapping, ProblemKind, Source};

fn by_unit(batches: &str) -> Mapping {
    mapping(&format!("{}[batches]\n{batches}\n", SMALL.replace("id = 'U1'", "column = 'u'")))
}

fn source(name: &str, rows: &[(i64, &str)]) -> Source {
    let mut text = "u,t,x\n".to_owned();
    text.extend(rows.iter().map(|(t, u)| format!("{u},{t},1\n")));
    Source::csv(name, std::io::Cursor::new(text))
}

fn left(mapping: &Mapping, sources: Vec<Source>) -> Vec<(i64, String)> {
    let mut import = mapping.import(sources);
    common::rows(&mut import).into_iter().map(|(unit, row)| (row.time / 1000, unit.to_string())).collect()
}

fn expected(rows: &[(i64, &str)]) -> Vec<(i64, String)> {
    rows.iter().map(|(t, u)| (*t, (*u).to_owned())).collect()
}

const A: &[(i64, &str)] = &[(1, "A"), (4, "A"), (3, "A"), (9, "A")];
const B: &[(i64, &str)] = &[(2, "B"), (3, "B"), (10, "B")];

fn both() -> Vec<Source> {
    vec![source("a.csv", A), source("missing.csv", &[]), source("b.csv", B)]
}

#[test]
fn as_given_is_file_after_file() {
    assert_eq!(left(&by_unit("rows = 2"), both()), expected(&[A, B].concat()));
}

#[test]
fn merged_files_keep_their_own_order_and_go_by_time_across() {
    let merged = [(1, "A"), (2, "B"), (3, "B"), (4, "A"), (3, "A"), (9, "A"), (10, "B")];
    assert_eq!(left(&by_unit("order = 'merge_by_time'"), both()), expected(&merged));
}

#[test]
fn sorted_rows_go_by_time_and_equal_times_in_the_order_they_came() {
    let sorted = [(1, "A"), (2, "B"), (3, "A"), (3, "B"), (4, "A"), (9, "A"), (10, "B")];
    assert_eq!(left(&by_unit("order = 'sort_by_time'"), both()), expected(&sorted));
}

#[test]
fn more_rows_than_may_be_sorted_at_once_are_sorted_in_parts_and_none_is_lost() {
    let mapping = by_unit("order = 'sort_by_time'\nsort_rows = 4");
    let mut import = mapping.import(both());
    let rows = common::rows(&mut import);
    let times: Vec<i64> = rows.iter().map(|(_, row)| row.time / 1000).collect();
    assert_eq!(times, [1, 3, 4, 9, 2, 3, 10]);
    assert_eq!(import.problems().count(ProblemKind::SortedInParts), 1);
    assert!(import.problems().to_string().contains("raise `sort_rows`"));
    // Exactly as many as may be sorted is no problem.
    let exact = by_unit("order = 'sort_by_time'\nsort_rows = 7");
    let mut import = exact.import(both());
    assert_eq!(common::rows(&mut import).len(), 7);
    assert_eq!(import.problems().count(ProblemKind::SortedInParts), 0);
}

#[test]
fn batches_have_the_rows_that_were_asked_for_and_only_their_own_units() {
    let mapping = by_unit("rows = 3");
    let batches: Vec<_> = mapping.import(both()).collect();
    assert_eq!(batches.iter().map(rimeline_channels::Batch::rows).collect::<Vec<_>>(), [3, 3, 1]);
    assert_eq!(batches.iter().map(|b| b.units.len()).collect::<Vec<_>>(), [1, 2, 1]);
    let usual: Vec<_> =
        by_unit("").import(vec![source("a.csv", &[(1, "A"); 61])]).map(|b| b.rows()).collect();
    assert_eq!(usual, [60, 1]);
    let bulk: Vec<_> = by_unit("").with_batch_rows(500).import(both()).map(|b| b.rows()).collect();
    assert_eq!(bulk, [7]);
}

proptest! {
    #[test]
    fn every_order_lets_every_row_out_once(
        files in prop::collection::vec(prop::collection::vec((0..50_i64, 0..3_usize, 0..100_i32), 1..40), 1..5),
        rows in 1..20_usize,
        sort_rows in 1..60_usize,
    ) {
        let mut all: Vec<(i64, String, i32)> = Vec::new();
        for order in ["as_given", "merge_by_time", "sort_by_time"] {
            let mapping = by_unit(&format!("order = '{order}'\nrows = {rows}\nsort_rows = {sort_rows}"));
            let sources = files.iter().map(|file| {
                let mut text = "x,u,t\n".to_owned();
                text.extend(file.iter().map(|(t, u, x)| format!("{x},U{u},{t}\n")));
                Source::csv("f.csv", std::io::Cursor::new(text))
            });
            let mut import = mapping.import(sources.collect());
            let mut found: Vec<_> = common::rows(&mut import)
                .into_iter()
                .map(|(unit, row)| (row.time / 1000, unit.to_string(), row.fixed(Channel::SupplyAirControl).unwrap() / 10))
                .collect();
            found.sort();
            if all.is_empty() {
                all.extend(files.iter().flatten().map(|(t, u, x)| (*t, format!("U{u}"), *x)));
                all.sort();
            }
            prop_assert_eq!(&found, &all);
        }
    }
}
