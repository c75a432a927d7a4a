//! Rows of a CSV file.

use std::io::{BufRead as _, BufReader};

use csv::{ByteRecord, ReaderBuilder};

use crate::{Place, cell::Cell, document::CsvLayout, problem::shown, text::TextReader};

pub(crate) struct CsvRows {
    reader: csv::Reader<BufReader<TextReader>>,
    record: ByteRecord,
    names: Vec<String>,
    /// Lines before the CSV starts.
    skipped: u64,
    /// The record that stands in `record` is the first row, which told the number of columns.
    waiting: bool,
    max_line_bytes: usize,
}

/// What the next record is.
pub(crate) enum Next {
    Row,
    /// Another number of cells than the header, in words.
    Ragged(String),
    End,
}

impl CsvRows {
    /// Reads the header; an error says what is wrong with the file.
    pub(crate) fn open(text: TextReader, layout: &CsvLayout) -> Result<Self, String> {
        let mut text = BufReader::new(text);
        for _ in 0..layout.skip_lines {
            text.get_mut().refill();
            text.skip_until(b'\n').map_err(|error| error.to_string())?;
        }
        let reader = ReaderBuilder::new()
            .delimiter(layout.delimiter.0)
            .quote(layout.quote.0)
            .quoting(layout.quoting)
            .comment(layout.comment.map(|byte| byte.0))
            .has_headers(false)
            .flexible(true)
            .from_reader(text);
        let mut rows = Self {
            reader,
            record: ByteRecord::new(),
            names: Vec::new(),
            skipped: layout.skip_lines,
            waiting: false,
            max_line_bytes: layout.max_line_bytes,
        };
        if rows.read()? {
            rows.waiting = !layout.header;
            rows.names = if layout.header {
                rows.record.iter().map(|name| String::from_utf8_lossy(name).trim().to_owned()).collect()
            } else {
                (1..=rows.record.len()).map(|number| number.to_string()).collect()
            };
        }
        Ok(rows)
    }

    /// Names of the columns; none in an empty file.
    pub(crate) fn names(&self) -> &[String] {
        &self.names
    }

    pub(crate) fn next(&mut self) -> Result<Next, String> {
        if self.waiting {
            self.waiting = false;
            return Ok(Next::Row);
        }
        if !self.read()? {
            return Ok(Next::End);
        }
        let (found, needed) = (self.record.len(), self.names.len());
        // A delimiter at the end of every line, but not of the header, shifts nothing.
        let shifts =
            found < needed || self.record.iter().skip(needed).any(|cell| !cell.trim_ascii().is_empty());
        if !shifts {
            return Ok(Next::Row);
        }
        let lines = self.record.iter().flatten().filter(|byte| **byte == b'\n').count();
        let spans = if lines > 0 { format!(", over {} lines", lines + 1) } else { String::new() };
        let start = String::from_utf8_lossy(self.record.get(0).unwrap_or_default());
        Ok(Next::Ragged(format!("{found} cells instead of {needed}{spans}, starting {}", shown(&start))))
    }

    pub(crate) fn cell(&self, column: usize) -> Cell<'_> {
        match self.record.get(column).map(|bytes| (bytes, std::str::from_utf8(bytes))) {
            None => Cell::Missing,
            Some((_, Ok(text))) => Cell::Text(text.trim()),
            Some((bytes, Err(_))) => Cell::NotUtf8(bytes),
        }
    }

    /// The line where the record starts. The reader's own position of a record is that of the empty and comment
    /// lines before it; where it ended is exact, and every line ends in one line feed.
    pub(crate) fn place(&self) -> Place {
        let inside = self.record.iter().flatten().filter(|byte| **byte == b'\n').count() as u64;
        let from_end = self.reader.position().line().saturating_sub(1 + inside);
        // A quote that was never closed took its line's end too.
        let at_least = self.record.position().map_or(1, csv::Position::line);
        Place::Line(from_end.max(at_least) + self.skipped)
    }

    fn read(&mut self) -> Result<bool, String> {
        self.reader.get_mut().get_mut().refill();
        self.reader.read_byte_record(&mut self.record).map_err(|error| match error.kind() {
            csv::ErrorKind::Io(error) if error.kind() == std::io::ErrorKind::Other => {
                let line = self.reader.position().line() + self.skipped;
                let most = self.max_line_bytes;
                format!(
                    "{error}: from line {line} on there are more than {most} bytes without an end of the row"
                )
            }
            _ => error.to_string(),
        })
    }
}
