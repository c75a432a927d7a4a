//! Each kind of problem with a file: what it costs, and that its message says where, what and what to do.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod common;

use common::{NOT_REPORTED, SMALL, import, mapping, small, supply};
use rimeline_channels::{Absence, Value};
use rimeline_mapping::{ProblemKind, Source};

/// One problem of this kind whose text holds all of these.
fn one(problems: &[(ProblemKind, String)], kind: ProblemKind, parts: &[&str]) {
    assert_eq!(problems.len(), 1, "{problems:?}");
    assert_eq!(problems[0].0, kind, "{problems:?}");
    for part in parts {
        assert!(problems[0].1.contains(part), "`{part}` is not in: {}", problems[0].1);
    }
}

#[test]
fn a_text_that_is_no_number_costs_its_value_and_is_named_with_line_and_column() {
    let (rows, problems) = import(&small(""), "t,x\n1,2.5\n2,warm\n3,3.5\n");
    assert_eq!(supply(&rows), [Value::Number(25), NOT_REPORTED, Value::Number(35)]);
    one(
        &problems,
        ProblemKind::BadNumber,
        &["a.csv:3: ", "column `x`", "`warm`", "not reported", "`absent`"],
    );
}

#[test]
fn lines_are_counted_past_skipped_comment_empty_and_quoted_lines() {
    let layout = "[csv]\nskip_lines = 2\ncomment = '#'\n";
    let text = "made by a logger\n\"odd\nt,x,note\n# remark\n1,2.5,\"over\ntwo lines\"\n\n\n2,warm,\n";
    let (rows, problems) = import(&small(layout), text);
    assert_eq!(rows.len(), 2);
    one(&problems, ProblemKind::BadNumber, &["a.csv:9: "]);
}

#[test]
fn lines_are_counted_whatever_ends_them() {
    for end in ["\n", "\r\n", "\r"] {
        let text = ["t,x", "", "1,2.5", "2,\"war", "m\"", "3,cold"].join(end);
        let (rows, problems) = import(&small(""), text);
        assert_eq!(rows.len(), 3, "{end:?}");
        assert!(
            problems[0].1.starts_with("a.csv:4: ") && problems[1].1.starts_with("a.csv:6: "),
            "{problems:?}"
        );
    }
}

#[test]
fn nan_and_infinity_are_problems_unless_they_are_listed() {
    let text = "t,x\n1,NaN\n2,-inf\n3,4\n";
    let (rows, problems) = import(&small(""), text);
    assert_eq!(supply(&rows), [NOT_REPORTED, NOT_REPORTED, Value::Number(40)]);
    assert_eq!(problems.len(), 2);
    assert!(problems.iter().all(|(kind, text)| *kind == ProblemKind::NotFinite && text.contains("`absent`")));
    let (rows, problems) = import(&small("absent = ['nan', 'inf', '-inf']"), text);
    assert_eq!(supply(&rows), [NOT_REPORTED, NOT_REPORTED, Value::Number(40)]);
    assert_eq!(problems, []);
}

#[test]
fn tokens_and_limits_say_why_there_is_no_number() {
    let rules = "absent = ['NA', '-999']\nnot_fitted = ['none']\nfailed = ['E4']\nfailed_open = ['open']\n\
                 failed_short = ['short']\nfailed_open_below = -60.0\nfailed_short_above = 150.0\n";
    let text = "t,x\n1,NA\n2,-999.0\n3,none\n4,E4\n5,open\n6,short\n7,-60.1\n8,150.5\n9,\n10,-60\n";
    let (rows, problems) = import(&small(rules), text);
    let absences = [
        Absence::NotReported,
        Absence::NotReported,
        Absence::NotFitted,
        Absence::FailedOther,
        Absence::FailedOpen,
        Absence::FailedShort,
        Absence::FailedOpen,
        Absence::FailedShort,
        Absence::NotReported,
    ];
    let mut expected: Vec<Value> = absences.into_iter().map(Value::Absent).collect();
    expected.push(Value::Number(-600));
    assert_eq!(supply(&rows), expected);
    assert_eq!(problems, []);
}

#[test]
fn a_number_that_cannot_be_stored_costs_its_value() {
    let (rows, problems) = import(&small(""), "t,x\n1,1e9\n2,3\n");
    assert_eq!(supply(&rows), [NOT_REPORTED, Value::Number(30)]);
    one(&problems, ProblemKind::OutOfRange, &["a.csv:2", "column `x`", "`1e9`", "`scale`"]);
}

#[test]
fn a_bad_time_costs_its_row_and_shows_what_was_found() {
    let (rows, problems) = import(&small(""), "t,x\n1,2\nnoon,3\n3,4\n");
    assert_eq!(supply(&rows), [Value::Number(20), Value::Number(40)]);
    one(&problems, ProblemKind::BadTime, &["a.csv:3", "column `t`", "`noon`", "row left out", "`format`"]);
    let (rows, problems) = import(&small(""), "t,x\n,2\n");
    assert_eq!(rows, []);
    one(&problems, ProblemKind::BadTime, &["there is no time"]);
}

#[test]
fn a_missing_column_is_named_and_the_columns_that_exist_are_listed() {
    let (rows, problems) = import(&small(""), "time,Temp [C],hum\n1,2,3\n");
    assert_eq!(rows, []);
    one(&problems, ProblemKind::MissingColumn, &["a.csv: ", "`t`, `x`", "`time`, `Temp [C]`, `hum`"]);
}

#[test]
fn a_header_in_one_cell_asks_for_the_delimiter() {
    let (_, problems) = import(&small(""), "t;x\n1;2\n");
    one(&problems, ProblemKind::MissingColumn, &["`delimiter`", "`t;x`"]);
}

#[test]
fn a_column_that_stands_twice_is_refused_only_where_it_is_used() {
    let (rows, problems) = import(&small(""), "t,x,x\n1,2,3\n");
    assert_eq!(rows, []);
    one(&problems, ProblemKind::RepeatedColumn, &["`x`"]);
    let (rows, problems) = import(&small(""), "t,x,note,note\n1,2,3,4\n");
    assert_eq!((rows.len(), problems.len()), (1, 0));
}

#[test]
fn ragged_lines_cost_themselves_and_nothing_else() {
    let (rows, problems) = import(&small(""), "t,x\n1,2\n2\n3,4,5\n4,5\n5,6,,\n");
    assert_eq!(supply(&rows), [Value::Number(20), Value::Number(50), Value::Number(60)]);
    assert_eq!(problems.len(), 2);
    for ((kind, text), parts) in
        problems.iter().zip([["a.csv:3", "1 cells instead of 2"], ["a.csv:4", "3 cells"]])
    {
        assert_eq!(*kind, ProblemKind::RaggedLine);
        assert!(parts.iter().all(|part| text.contains(part)), "{text}");
    }
}

#[test]
fn a_quote_that_never_closes_is_named_with_the_line_where_it_opens() {
    let text = format!("t,x\n1,2\n2,\"3\n{}", "3,4\n".repeat(1000));
    let (rows, problems) = import(&small(""), text.as_str());
    assert_eq!(rows.len(), 2, "{problems:?}");
    one(&problems, ProblemKind::BadNumber, &["a.csv:3", "`3\\n3,4"]);
    let (rows, _) = import(&small("[csv]\nquoting = false"), text.as_str());
    assert_eq!(rows.len(), 1002);
}

#[test]
fn a_line_without_an_end_stops_its_file_and_not_the_next() {
    let mapping = small("[csv]\nmax_line_bytes = 1000\n");
    let endless = format!("t,x\n1,2\n2,\"{}", "x".repeat(1_000_000));
    let sources = vec![
        Source::csv("a.csv", std::io::Cursor::new(endless)),
        Source::csv("b.csv", "t,x\n3,4\n".as_bytes()),
    ];
    let mut import = mapping.import(sources);
    assert_eq!(common::rows(&mut import).len(), 2);
    let problems = import.problems();
    assert_eq!(problems.count(ProblemKind::Unreadable), 1);
    let text = problems.kept()[0].to_string();
    assert!(text.contains("from line 3 on") && text.contains("1000 bytes"), "{text}");
}

#[test]
fn bytes_that_are_no_utf_8_cost_their_value_or_are_read_as_latin_1() {
    let text = b"t,x,note\n1,2\xb0,\xe4\n2,3,\xe4\n".to_vec();
    let (rows, problems) = import(&small(""), text.clone());
    assert_eq!(supply(&rows), [NOT_REPORTED, Value::Number(30)], "a note nobody maps may be anything");
    one(&problems, ProblemKind::NotUtf8, &["a.csv:2", "column `x`", "latin-1"]);
    let latin = mapping(&format!("{}[csv]\nencoding = 'latin-1'", SMALL.replace("'x'", "'T [°C]'")));
    let (rows, problems) = import(&latin, b"t,T [\xb0C]\n1,2\n".to_vec());
    assert_eq!((rows.len(), problems.len()), (1, 0), "{problems:?}");
    let (_, problems) = import(&mapping(&SMALL.replace("'x'", "'T [°C]'")), b"t,T [\xb0C]\n1,2\n".to_vec());
    one(&problems, ProblemKind::MissingColumn, &["latin-1"]);
}

#[test]
fn empty_files_are_named_and_others_go_on() {
    for text in ["", "\n\n", "\u{feff}"] {
        let (_, problems) = import(&small(""), text);
        one(&problems, ProblemKind::EmptyFile, &["a.csv: ", "nothing"]);
    }
    let (_, problems) = import(&small(""), "t,x\n");
    one(&problems, ProblemKind::EmptyFile, &["a header and no rows"]);
}

#[test]
fn a_path_that_is_not_there_is_named_and_others_go_on() {
    let folder = tempfile::tempdir().unwrap();
    let there = folder.path().join("there.csv");
    std::fs::write(&there, "\u{feff}t,x\r\n1,2\r\n").unwrap();
    let mapping = small("");
    let missing = folder.path().join("missing.csv");
    let mut import =
        mapping.import(vec![Source::path(&missing), Source::path(folder.path()), Source::path(&there)]);
    assert_eq!(common::rows(&mut import).len(), 1, "{}", import.problems());
    assert_eq!(import.problems().count(ProblemKind::Unreadable), 2);
    assert!(import.problems().kept()[0].to_string().contains("missing.csv"), "{}", import.problems());
    assert_eq!(import.counts().files, 1);
}

#[test]
fn a_bad_unit_id_costs_its_row_and_says_how_to_make_it_one() {
    let by_column = SMALL.replace("id = 'U1'", "column = 'who'\nprefix = 'TR-'");
    let text = "t,x,who\n1,2,7\n2,3,a b\n3,4,\n4,5, 7 \n";
    let (rows, problems) = import(&mapping(&by_column), text);
    // With an empty cell, `TR-` alone would pass for an id.
    assert_eq!(rows.len(), 2, "{problems:?}");
    assert_eq!(problems.len(), 2);
    assert!(
        problems[0].1.contains("a.csv:3: column `who`") && problems[0].1.contains("`replace`"),
        "{problems:?}"
    );
    let replaced = by_column.replace("prefix", "replace = [{ from = ' ', to = '-' }]\nprefix");
    let mapping = mapping(&replaced);
    let mut import = mapping.import(vec![Source::csv("a.csv", text.as_bytes())]);
    assert_eq!(common::rows(&mut import).len(), 3);
    assert_eq!(
        import.units().iter().map(rimeline_channels::Id::as_str).collect::<Vec<_>>(),
        ["TR-7", "TR-a-b"]
    );
}

#[test]
fn all_problems_are_counted_and_the_first_twenty_and_one_of_each_kind_are_kept() {
    let mut text = "t,x\n".to_owned();
    text.extend((0..100).map(|i| format!("{i},bad\n")));
    text.push_str("never,1\n");
    let mapping = small("");
    let mut import = mapping.import(vec![Source::csv("a.csv", std::io::Cursor::new(text))]);
    assert_eq!(common::rows(&mut import).len(), 100);
    let problems = import.problems();
    assert_eq!((problems.total(), problems.kept().len()), (101, 21));
    assert_eq!(
        problems.by_kind().collect::<Vec<_>>(),
        [(ProblemKind::BadTime, 1), (ProblemKind::BadNumber, 100)]
    );
    let text = problems.to_string();
    assert!(text.contains("and 80 more") && text.contains("100  a value is no number"), "{text}");
}

#[test]
fn decimal_commas_are_read_where_the_mapping_says_so() {
    let text = "t;x\n1;2,5\n2;1.234,5\n3;-0,05\n";
    let (rows, problems) = import(&small("[csv]\ndelimiter = ';'\ndecimal_comma = true"), text);
    assert_eq!(supply(&rows), [Value::Number(25), NOT_REPORTED, Value::Number(-1)]);
    one(&problems, ProblemKind::BadNumber, &["`1.234,5`"]);
    let (_, problems) = import(&small("[csv]\ndelimiter = ';'"), "t;x\n1;2,5\n");
    one(&problems, ProblemKind::BadNumber, &["decimal_comma"]);
}

#[test]
fn a_file_without_a_header_has_numbered_columns() {
    let numbered = SMALL.replace("'t'", "'1'").replace("'x'", "'2'");
    let (rows, problems) = import(&mapping(&format!("{numbered}[csv]\nheader = false")), "1,2\n2,3\n");
    assert_eq!((supply(&rows), problems), (vec![Value::Number(20), Value::Number(30)], vec![]));
}
