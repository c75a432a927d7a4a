//! Bytes of a text file on their way to the CSV reader: one encoding, one end of line.

use std::io::{self, Read};

use crate::document::Encoding;

/// Turns Latin-1 into UTF-8 where the mapping asks for it, ends every line in one line feed (so that lines can be
/// counted), and stops a line that never ends.
pub(crate) struct TextReader {
    inner: Box<dyn Read + Send>,
    encoding: Encoding,
    /// Bytes that may still be read before [`TextReader::refill`] must be called.
    budget: usize,
    limit: usize,
    /// The second byte of a character that did not fit any more.
    left_over: Option<u8>,
    raw: Vec<u8>,
    last: u8,
}

/// What a line is read in; the budget is checked only as often.
const STEP: usize = 64 << 10;

impl TextReader {
    pub(crate) fn new(inner: Box<dyn Read + Send>, encoding: Encoding, limit: usize) -> Self {
        let limit = limit.saturating_add(STEP);
        Self { inner, encoding, budget: limit, limit, left_over: None, raw: Vec::new(), last: b'\n' }
    }

    /// A new line starts.
    pub(crate) fn refill(&mut self) {
        self.budget = self.limit;
    }
}

impl Read for TextReader {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        if out.is_empty() {
            return Ok(0);
        }
        if self.budget == 0 {
            return Err(io::Error::other("the line does not end"));
        }
        let room = out.len().min(self.budget).min(STEP);
        loop {
            let count = match self.encoding {
                Encoding::Utf8 => self.inner.read(&mut out[..room])?,
                Encoding::Latin1 => self.transcode(&mut out[..room])?,
            };
            let kept = if count == 0 { self.end(out) } else { self.end_lines(&mut out[..count]) };
            self.budget -= kept;
            if kept > 0 || count == 0 {
                return Ok(kept);
            }
        }
    }
}

impl TextReader {
    /// The last line ends too.
    fn end(&mut self, out: &mut [u8]) -> usize {
        if self.last == b'\n' || self.last == b'\r' {
            return 0;
        }
        self.last = b'\n';
        out[0] = b'\n';
        1
    }

    /// Carriage return and line feed, or the first alone, become a line feed. The number of bytes that are left.
    fn end_lines(&mut self, bytes: &mut [u8]) -> usize {
        let mut kept = bytes.len();
        if self.last == b'\r' || bytes.contains(&b'\r') {
            kept = 0;
            let mut last = self.last;
            for i in 0..bytes.len() {
                let byte = bytes[i];
                if !(byte == b'\n' && last == b'\r') {
                    bytes[kept] = if byte == b'\r' { b'\n' } else { byte };
                    kept += 1;
                }
                last = byte;
            }
            self.last = last;
        } else {
            self.last = bytes[kept - 1];
        }
        kept
    }

    fn transcode(&mut self, out: &mut [u8]) -> io::Result<usize> {
        let mut filled = 0;
        if let Some(byte) = self.left_over.take() {
            out[0] = byte;
            filled = 1;
        }
        // Each byte becomes at most two; half the room is always enough, but for a room of one.
        self.raw.resize(((out.len() - filled) / 2).max(usize::from(filled == 0)), 0);
        let count = self.inner.read(&mut self.raw)?;
        for &byte in &self.raw[..count] {
            let mut encoded = [0; 2];
            let encoded = char::from(byte).encode_utf8(&mut encoded).as_bytes();
            for &byte in encoded {
                match out.get_mut(filled) {
                    Some(place) => {
                        *place = byte;
                        filled += 1;
                    }
                    None => self.left_over = Some(byte),
                }
            }
        }
        Ok(filled)
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::expect_used)]
mod tests {
    use super::*;

    #[test]
    fn latin_1_becomes_utf_8_whatever_the_size_of_the_reads() {
        let latin: Vec<u8> = (1..=255).filter(|byte| *byte != b'\r').collect();
        let expected: String = latin.iter().map(|byte| char::from(*byte)).chain(['\n']).collect();
        for size in 1..40 {
            assert_eq!(all(latin.clone(), Encoding::Latin1, size), expected, "reads of {size}");
        }
    }

    #[test]
    fn every_line_ends_in_one_line_feed_whatever_the_size_of_the_reads() {
        for (text, expected) in [
            ("", ""),
            ("a", "a\n"),
            ("a\n", "a\n"),
            ("a\r\n", "a\n"),
            ("a\r", "a\n"),
            ("a\r\nb\r\n\r\nc", "a\nb\n\nc\n"),
            ("a\rb\r\rc\r", "a\nb\n\nc\n"),
            ("\r\n", "\n"),
        ] {
            for size in 1..10 {
                assert_eq!(all(text.into(), Encoding::Utf8, size), expected, "{text:?}, reads of {size}");
            }
        }
    }

    fn all(bytes: Vec<u8>, encoding: Encoding, size: usize) -> String {
        let mut reader = TextReader::new(Box::new(io::Cursor::new(bytes)), encoding, 1 << 20);
        let (mut all, mut part) = (Vec::new(), vec![0; size]);
        loop {
            match reader.read(&mut part).unwrap() {
                0 => return String::from_utf8(all).unwrap(),
                count => all.extend_from_slice(&part[..count]),
            }
        }
    }
}
