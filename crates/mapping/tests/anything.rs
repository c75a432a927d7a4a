//! Whatever the bytes are: an answer, never a panic, and every line accounted for.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod common;

use common::{SMALL, mapping, repository};
use proptest::prelude::*;
use rimeline_mapping::{Mapping, Source};

fn drain(mapping: &Mapping, source: Source) -> (u64, u64) {
    let mut import = mapping.import(vec![source]);
    let rows = common::rows(&mut import).len() as u64;
    assert_eq!(import.counts().rows_given, rows);
    assert!(import.counts().rows_read >= rows);
    let _ = import.problems().to_string();
    (rows, import.problems().total())
}

fn wide() -> Mapping {
    mapping(&format!(
        "{}[state]\ncompressor = {{ running = 'x > 1' }}\nstage = {{ column = 'x', values = {{ '1' = 'heating' }} }}\n",
        SMALL
            .replace("id = 'U1'", "column = 'u'")
            .replace("'unix_s'", "'%Y-%m-%d %H:%M:%S'\nzone = 'Europe/Lisbon'")
    ))
}

/// Text that is nearly a good file, so that it comes far.
fn nearly_csv() -> impl Strategy<Value = Vec<u8>> {
    let cell = prop_oneof![
        Just("2024-03-31 01:30:00".to_owned()),
        Just("2024-12-31 24:00:00".to_owned()),
        "[0-9]{1,4}-[0-9]{2}-[0-9]{2} [0-9]{2}:[0-9]{2}:[0-9]{2}",
        "-?[0-9]{1,12}(\\.[0-9]{0,9})?(e-?[0-9]{1,3})?",
        "(NaN|inf|NA|-0|,|;|\"|\"\"|\u{e9}|\r|\n|\0)",
        "[A-Za-z0-9._ -]{0,70}",
    ];
    prop::collection::vec(prop::collection::vec(cell, 0..6), 0..12).prop_map(|rows| {
        let mut text = "t,x,u\n".to_owned();
        for row in rows {
            text.push_str(&row.join(","));
            text.push('\n');
        }
        text.into_bytes()
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn any_bytes_as_csv(bytes in prop::collection::vec(any::<u8>(), 0..400), header in any::<bool>()) {
        let mut text = if header { b"t,x,u\n".to_vec() } else { Vec::new() };
        text.extend(bytes);
        for mapping in [wide(), mapping(SMALL), mapping(&format!("{SMALL}[csv]\nencoding = 'latin-1'\nskip_lines = 1"))] {
            drain(&mapping, Source::csv("a.csv", std::io::Cursor::new(text.clone())));
        }
    }

    #[test]
    fn nearly_good_csv(text in nearly_csv()) {
        drain(&wide(), Source::csv("a.csv", std::io::Cursor::new(text)));
    }

    #[test]
    fn any_bytes_as_parquet(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        let framed = [b"PAR1".as_slice(), &bytes, b"PAR1"].concat();
        for bytes in [bytes, framed] {
            let (rows, problems) = drain(&mapping(SMALL), Source::parquet("a.parquet", bytes));
            prop_assert_eq!((rows, problems), (0, 1));
        }
    }

    /// Bits that flipped on a disk.
    #[test]
    fn a_damaged_parquet_file(damage in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..6)) {
        let mut bytes = common::parquet_file(300);
        for (at, byte) in damage {
            let at = at.index(bytes.len());
            bytes[at] = byte;
        }
        let (rows, _) = drain(&mapping(SMALL), Source::parquet("a.parquet", bytes));
        prop_assert!(rows <= 300 * 300);
    }

    #[test]
    fn any_text_as_a_mapping(text in ".{0,300}") {
        if let Err(error) = Mapping::parse("m.toml", &text) {
            prop_assert!(error.to_string().starts_with("m.toml"));
        }
    }

    /// A good mapping with a stretch replaced is taken or refused.
    #[test]
    fn a_damaged_mapping(at in 0..6000_usize, length in 0..40_usize, put in "[ -~\n]{0,12}") {
        let whole = std::fs::read_to_string(repository().join("tests/mappings/example.toml")).unwrap();
        let (from, until) = (at.min(whole.len()), (at + length).min(whole.len()));
        if let (Some(before), Some(after)) = (whole.get(..from), whole.get(until..)) {
            match Mapping::parse("m.toml", &format!("{before}{put}{after}")) {
                Ok(mapping) => drop(drain(&mapping, Source::csv("a.csv", "date;time\n1;2\n".as_bytes()))),
                Err(error) => prop_assert!(error.to_string().starts_with("m.toml")),
            }
        }
    }

    /// Every data line without quotes gives a row, a problem, or is empty.
    #[test]
    fn no_line_is_lost_in_silence(lines in prop::collection::vec("[0-9a-z,.\" -]{0,12}", 0..20)) {
        let lines: Vec<String> = lines.into_iter().map(|line| line.replace('"', "")).collect();
        let text = format!("t,x\n{}", lines.join("\n"));
        let (rows, problems) = drain(&mapping(SMALL), Source::csv("a.csv", std::io::Cursor::new(text)));
        let full = lines.iter().filter(|line| !line.is_empty()).count() as u64;
        prop_assert!(rows <= full && rows + problems >= full.max(1), "{rows} rows, {problems} problems, {full} lines");
    }
}
