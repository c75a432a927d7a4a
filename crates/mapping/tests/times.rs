//! Times as loggers write them.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod common;

use common::{SMALL, import, mapping};
use rimeline_mapping::ProblemKind;

/// What a text becomes under a `[time]` section without its column.
fn told(section: &str, text: &str) -> Result<i64, (ProblemKind, String)> {
    let (rows, mut problems) =
        import(&mapping(&SMALL.replace("format = 'unix_s'", section)), format!("t,x\n\"{text}\",1\n"));
    match (rows.as_slice(), problems.is_empty()) {
        ([row], true) => Ok(row.time),
        _ => Err(problems.remove(0)),
    }
}

fn moment(rfc3339: &str) -> i64 {
    rfc3339.parse::<jiff::Timestamp>().unwrap().as_millisecond()
}

#[test]
fn common_formats_are_read() {
    for (section, text, expected) in [
        ("format = 'rfc3339'", "2013-05-09T02:00:00Z", "2013-05-09T02:00:00Z"),
        ("format = 'rfc3339'", "2010-12-29 14:15:00+00:00", "2010-12-29T14:15:00Z"),
        ("format = 'rfc3339'", "2016-07-01 00:00:00.5-07:00", "2016-07-01T07:00:00.5Z"),
        ("format = 'unix_s'", "1368064800", "2013-05-09T02:00:00Z"),
        ("format = 'unix_s'", "1368064800.25", "2013-05-09T02:00:00.25Z"),
        ("format = 'unix_ms'", "-1", "1969-12-31T23:59:59.999Z"),
        ("format = 'unix_us'", "1368064800000000", "2013-05-09T02:00:00Z"),
        ("format = 'unix_ns'", "1368064800000000001", "2013-05-09T02:00:00Z"),
        ("format = '%d.%m.%Y %H:%M'\nzone = 'Europe/Berlin'", "1.7.2024 0:05", "2024-06-30T22:05:00Z"),
        ("format = '%m/%d/%y %I:%M %p'\nzone = 'UTC'", "07/01/24 12:30 AM", "2024-07-01T00:30:00Z"),
        ("format = '%Y-%m-%d'\nzone = 'UTC'", "2024-02-29", "2024-02-29T00:00:00Z"),
        ("format = '%Y%m%d%H%M%S'\nzone = 'UTC'", "20240229235960", "2024-02-29T23:59:59Z"),
        ("format = '%F %T%.f%:z'", "2024-02-29 23:00:00.125+05:30", "2024-02-29T17:30:00.125Z"),
        ("format = '%s'", "1368064800", "2013-05-09T02:00:00Z"),
        ("format = '%d %b %H:%M'\nyear = 2020\nzone = 'UTC'", "29 Feb 06:00", "2020-02-29T06:00:00Z"),
    ] {
        assert_eq!(told(section, text), Ok(moment(expected)), "{section} {text}");
    }
}

#[test]
fn twenty_four_hours_is_the_next_midnight() {
    for (section, text, expected) in [
        ("format = '%m/%d %H:%M:%S'\nyear = 2024\nzone = 'UTC'", "08/26  24:00:00", "2024-08-27T00:00:00Z"),
        ("format = '%m/%d %H:%M:%S'\nyear = 2024\nzone = 'UTC'", "08/24 24:00:00", "2024-08-25T00:00:00Z"),
        ("format = '%Y-%m-%d %H'\nzone = 'UTC'", "2024-12-31 24", "2025-01-01T00:00:00Z"),
        ("format = '%H:%M %d.%m.%Y'\nzone = 'UTC'", "24:00 24.02.2024", "2024-02-25T00:00:00Z"),
        ("format = '%Y%m%d%H%M'\nzone = 'UTC'", "202402242400", "2024-02-25T00:00:00Z"),
        ("format = '%Y-%m-%d %H:%M'\nzone = 'Europe/Lisbon'", "2024-07-01 24:00", "2024-07-01T23:00:00Z"),
        ("format = 'rfc3339'", "2024-08-26T24:00:00Z", "2024-08-27T00:00:00Z"),
        ("format = 'rfc3339'", "2024-08-26T24:00:00+05:30", "2024-08-26T18:30:00Z"),
        ("format = '%F %T%z'", "2024-08-26 24:00:00-0700", "2024-08-27T07:00:00Z"),
    ] {
        assert_eq!(told(section, text), Ok(moment(expected)), "{section} {text}");
    }
}

#[test]
fn other_hours_beyond_the_day_are_bad_times() {
    for (section, text) in [
        ("format = '%m/%d %H:%M:%S'\nyear = 2024\nzone = 'UTC'", "08/26 24:00:01"),
        ("format = '%m/%d %H:%M:%S'\nyear = 2024\nzone = 'UTC'", "08/26 24:30:00"),
        ("format = '%m/%d %H:%M:%S'\nyear = 2024\nzone = 'UTC'", "08/26 25:00:00"),
        ("format = '%m/%d %H:%M:%S'\nyear = 2024\nzone = 'UTC'", "24/24 01:00:00"),
        ("format = '%Y%m%d%H%M'\nzone = 'UTC'", "202408324000"),
        ("format = 'rfc3339'", "2024-08-26T24:00:30Z"),
        ("format = 'rfc3339'", "2024-08-26T00:00:00"),
        ("format = 'rfc3339'", "2024-08-26"),
        ("format = '%Y-%m-%d'\nzone = 'UTC'", "2023-02-29"),
        ("format = '%Y-%m-%d'\nzone = 'UTC'", "2023-02-28 extra"),
        ("format = 'unix_s'", "99999999999999"),
        ("format = 'unix_s'", "1e300"),
        ("format = 'unix_s'", "NaN"),
        ("format = 'unix_ns'", "170141183460469231731687303715884105727"),
    ] {
        let problem = told(section, text).expect_err(text);
        assert_eq!(problem.0, ProblemKind::BadTime, "{section} {text}");
        assert!(problem.1.contains(text), "{}", problem.1);
    }
}

/// Clocks of New York in 2013: forward on 10 March at 02:00, back on 3 November at 02:00 (tz database).
#[test]
fn where_clocks_change_the_offset_before_the_change_is_taken_and_the_row_counted() {
    let section = "format = '%Y-%m-%d %H:%M'\nzone = 'America/New_York'";
    let text = SMALL.replace("format = 'unix_s'", section);
    let (rows, problems) = import(
        &mapping(&text),
        "t,x\n2013-03-10 01:59,1\n2013-03-10 02:30,1\n2013-03-10 03:00,1\n2013-11-03 00:59,1\n2013-11-03 01:30,1\n\
         2013-11-03 02:00,1\n",
    );
    let expected = [
        "2013-03-10T06:59:00Z",
        "2013-03-10T07:30:00Z",
        "2013-03-10T07:00:00Z",
        "2013-11-03T04:59:00Z",
        "2013-11-03T05:30:00Z",
        "2013-11-03T07:00:00Z",
    ];
    assert_eq!(rows.iter().map(|row| row.time).collect::<Vec<_>>(), expected.map(moment));
    let kinds: Vec<_> = problems.iter().map(|problem| problem.0).collect();
    assert_eq!(kinds, [ProblemKind::SkippedTime, ProblemKind::AmbiguousTime]);
    assert!(problems[0].1.contains("a.csv:3") && problems[0].1.contains("row kept"), "{}", problems[0].1);
    assert!(problems[1].1.contains("a.csv:6") && problems[1].1.contains("UTC"), "{}", problems[1].1);
}

#[test]
fn several_columns_make_one_time() {
    let section = "columns = ['y', 'm', 'd', 'h']\nformat = '%Y %m %d %H'\nzone = 'UTC'";
    let text = SMALL.replace("column = 't'\nformat = 'unix_s'", section);
    let (rows, problems) = import(&mapping(&text), "h,d,m,y,x\n2,9,5,2013,1\n24,9,5,2013,1\nNA,9,5,2013,1\n");
    let times: Vec<_> = rows.iter().map(|row| row.time).collect();
    assert_eq!(times, [moment("2013-05-09T02:00:00Z"), moment("2013-05-10T00:00:00Z")]);
    assert_eq!(problems.len(), 1);
    assert!(
        problems[0].1.contains("column `y m d h`") && problems[0].1.contains("`2013 5 9 NA`"),
        "{problems:?}"
    );
}
