//! An opened file whose columns are matched with the mapping's.

use parquet::file::reader::ChunkReader;

use crate::{
    Mapping, Place, Problem, ProblemKind, Problems, Source,
    cell::Cell,
    csv_rows::{CsvRows, Next},
    parquet_rows::{Kind, ParquetFile, ParquetRows},
    problem::shown,
    source::Opened,
    text::TextReader,
};

pub(crate) struct OpenFile {
    pub(crate) name: String,
    rows: Rows,
    /// For each column of the mapping, where it is.
    columns: Vec<usize>,
    any: bool,
}

enum Rows {
    Csv(CsvRows),
    Parquet(ParquetRows),
}

/// A problem with the file as a whole: its kind, what was found, what to do.
struct Unfit(ProblemKind, String, String);

fn unreadable(found: impl Into<String>) -> Unfit {
    Unfit(
        ProblemKind::Unreadable,
        found.into(),
        "Check the path, the file's rights and that it is whole.".to_owned(),
    )
}

impl OpenFile {
    /// Opens a source; where it does not fit, says so and gives nothing.
    pub(crate) fn open(mapping: &Mapping, source: Source, problems: &mut Problems) -> Option<Self> {
        let Source { name, body } = source;
        let opened = match body.open() {
            Ok(Opened::Csv(text)) => open_csv(mapping, text),
            Ok(Opened::ParquetFile(file)) => open_parquet(mapping, file),
            Ok(Opened::ParquetBytes(bytes)) => open_parquet(mapping, bytes),
            Err(error) => Err(unreadable(error.to_string())),
        };
        match opened {
            Ok((rows, columns)) => Some(Self { name, rows, columns, any: false }),
            Err(Unfit(kind, found, advice)) => {
                problems.add(kind, || Problem {
                    kind,
                    file: name,
                    place: Place::File,
                    column: None,
                    found,
                    advice,
                });
                None
            }
        }
    }

    /// Goes to the next row; false at the end, or where the file cannot be read on.
    pub(crate) fn next(&mut self, problems: &mut Problems) -> bool {
        loop {
            let next = match &mut self.rows {
                Rows::Csv(rows) => rows.next(),
                Rows::Parquet(rows) => rows.next().map(|any| if any { Next::Row } else { Next::End }),
            };
            let Unfit(kind, found, advice) = match next {
                Ok(Next::Row) => {
                    self.any = true;
                    return true;
                }
                Ok(Next::End) if self.any => return false,
                Ok(Next::End) => empty("a header and no rows"),
                Ok(Next::Ragged(found)) => {
                    self.any = true;
                    let advice =
                        "Mend the line; where a quote is never closed, set `quoting = false` in [csv].";
                    Unfit(ProblemKind::RaggedLine, found, advice.to_owned())
                }
                Err(error) => unreadable(error),
            };
            let place = if kind == ProblemKind::EmptyFile { Place::File } else { self.place() };
            problems.add(kind, || Problem {
                kind,
                file: self.name.clone(),
                place,
                column: None,
                found,
                advice,
            });
            if kind != ProblemKind::RaggedLine {
                return false;
            }
        }
    }

    /// The current row's cell of a column of the mapping.
    pub(crate) fn cell(&self, column: usize) -> Cell<'_> {
        match &self.rows {
            Rows::Csv(rows) => rows.cell(self.columns[column]),
            // Parquet columns were read in the mapping's order.
            Rows::Parquet(rows) => rows.cell(column),
        }
    }

    pub(crate) fn place(&self) -> Place {
        match &self.rows {
            Rows::Csv(rows) => rows.place(),
            Rows::Parquet(rows) => rows.place(),
        }
    }
}

fn no_format(found: &str) -> Unfit {
    let advice = "Add `format` to [time], e.g. \"%Y-%m-%d %H:%M:%S\", \"unix_s\" or \"rfc3339\".";
    Unfit(ProblemKind::UnsupportedType, found.to_owned(), advice.to_owned())
}

fn empty(found: &str) -> Unfit {
    let advice = "Leave the file out, or check that it was written to its end.";
    Unfit(ProblemKind::EmptyFile, found.to_owned(), advice.to_owned())
}

fn open_csv(mapping: &Mapping, text: Box<dyn std::io::Read + Send>) -> Result<(Rows, Vec<usize>), Unfit> {
    let layout = &mapping.csv;
    if mapping.time.format.is_none() {
        return Err(no_format("a CSV file holds times as text"));
    }
    let text = TextReader::new(text, layout.encoding, layout.max_line_bytes);
    let rows = CsvRows::open(text, layout).map_err(unreadable)?;
    if rows.names().is_empty() {
        return Err(empty("nothing"));
    }
    let columns = match_columns(mapping, rows.names()).map_err(|Unfit(kind, found, advice)| {
        let more = if rows.names().len() == 1 {
            " The header is one cell: is `delimiter` in [csv] right, e.g. \";\" or \"\\t\"?"
        } else if rows.names().iter().any(|name| name.contains('\u{fffd}')) {
            " The header is no UTF-8: set `encoding = \"latin-1\"` in [csv], or save the file as UTF-8."
        } else {
            ""
        };
        Unfit(kind, found, advice + more)
    })?;
    Ok((Rows::Csv(rows), columns))
}

fn open_parquet<R: ChunkReader + Send + 'static>(
    mapping: &Mapping,
    file: R,
) -> Result<(Rows, Vec<usize>), Unfit> {
    let file = ParquetFile::open(file).map_err(unreadable)?;
    let columns = match_columns(mapping, &file.names())?;
    for (needed, &column) in columns.iter().enumerate() {
        let name = &mapping.columns[needed];
        let for_time = mapping.time_columns.contains(&needed);
        let refused = match file.kind(column) {
            Err(kind) => Some((kind, "write it as a number, text or timestamp")),
            Ok(Kind::Instant | Kind::Civil) if !for_time => {
                Some(("a date or time".to_owned(), "only [time] can use such a column"))
            }
            Ok(Kind::Number | Kind::Integer | Kind::Text | Kind::Bool)
                if for_time && mapping.time.format.is_none() =>
            {
                return Err(no_format(&format!("column `{name}` holds times as text or numbers")));
            }
            Ok(Kind::Civil) if mapping.time.zone.is_none() => {
                Some(("a time without a zone".to_owned(), "add `zone` to [time], an IANA name or \"UTC\""))
            }
            Ok(_) => None,
        };
        if let Some((found, advice)) = refused {
            let found = format!("column `{name}` is {found}");
            return Err(Unfit(ProblemKind::UnsupportedType, found, format!("To use the file, {advice}.")));
        }
    }
    let rows = file.rows(&columns).map_err(unreadable)?;
    Ok((Rows::Parquet(rows), columns))
}

/// Finds every column of the mapping, or says which ones are not there and what is.
fn match_columns(mapping: &Mapping, names: &[String]) -> Result<Vec<usize>, Unfit> {
    let quoted = |names: &[String]| {
        const MOST: usize = 60;
        let more =
            if names.len() > MOST { format!(" and {} more", names.len() - MOST) } else { String::new() };
        names.iter().take(MOST).map(|name| shown(name)).collect::<Vec<_>>().join(", ") + &more
    };
    let (mut columns, mut missing, mut repeated) = (Vec::new(), Vec::new(), Vec::new());
    for needed in &mapping.columns {
        let mut places = names.iter().enumerate().filter(|(_, name)| *name == needed).map(|(place, _)| place);
        match (places.next(), places.next()) {
            (Some(place), None) => columns.push(place),
            (Some(_), Some(_)) => repeated.push(needed.clone()),
            (None, _) => missing.push(needed.clone()),
        }
    }
    let (kind, found) = match (missing.is_empty(), repeated.is_empty()) {
        (true, true) => return Ok(columns),
        (false, _) => (ProblemKind::MissingColumn, quoted(&missing)),
        (true, false) => (ProblemKind::RepeatedColumn, quoted(&repeated)),
    };
    Err(Unfit(kind, found, format!("The file's columns are: {}.", quoted(names))))
}
