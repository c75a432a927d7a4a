//! What the bytes mean. All numbers are little-endian; checksums are crc32c.
//!
//! A journal is a directory:
//!
//! | name | holds |
//! |---|---|
//! | `lock` | nothing; the process that writes has it locked |
//! | `checkpoint` | where the journal starts, and an end that was certainly reached |
//! | `00000000000000000000.segment` | a header and frames; the name is the position of the first frame |
//! | `*.tmp` | a file that was never finished; removed at the next start |
//! | `*.damaged` | a copy that a repair has put aside; never touched again |
//!
//! A position counts the bytes of frames since the journal began, headers of segments left out.
//!
//! Segment header, 128 bytes:
//!
//! | at | bytes | |
//! |---|---|---|
//! | 0 | 8 | `RIMEJRNL` |
//! | 8 | 4 | format, 1 |
//! | 12 | 4 | length of the node's name |
//! | 16 | 8 | id of the journal |
//! | 24 | 8 | position of the first frame |
//! | 32 | 8 | hash of the configuration |
//! | 40 | 64 | name of the node, then zeros |
//! | 104 | 20 | zeros |
//! | 124 | 4 | checksum of the 124 bytes before |
//!
//! Frame, 16 bytes and the record:
//!
//! | at | bytes | |
//! |---|---|---|
//! | 0 | 4 | mark of a record, or of a void, in this segment |
//! | 4 | 4 | length of the record |
//! | 8 | 4 | offset in the file up to which everything was on disk when this frame was written |
//! | 12 | 4 | checksum of the 12 bytes before, the frame's position and the record, started at the segment's seed |
//! | 16 | | the record |
//!
//! Mark and seed are drawn from the journal's id and the segment's position. Nobody who only sends records can know
//! them, so no record can hold bytes that look like a frame; neither can what a disk has left over from another file.
//!
//! The third number is the proof that tells a torn write from damage. The frames of one group carry the offset where
//! the group begins. A broken frame before the offset that some later frame carries *was* on disk, so that is damage;
//! a broken frame after all such offsets was never acknowledged.
//!
//! The very last group has no such proof yet: until the next group, a trim or a clean close, damage to it looks like a
//! torn write. The checkpoint holds the proof after a trim or a close.
//!
//! A void stands where a repair could save nothing. Its record is skipped and not covered by the checksum.

use bytes::{Buf, BufMut};

pub(crate) const FORMAT: u32 = 1;
pub(crate) const HEADER_BYTES: u64 = 128;
pub(crate) const FRAME_BYTES: usize = 16;
pub(crate) const NODE_BYTES: usize = 64;
const HEADER_MAGIC: [u8; 8] = *b"RIMEJRNL";
const CHECKED: usize = HEADER_BYTES as usize - 4;

/// The beginning of a segment file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Header {
    pub id: u64,
    pub start: u64,
    pub config_hash: u64,
    pub node: String,
}

/// Why bytes are no header or checkpoint.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum BadHeader {
    Magic,
    Checksum,
    Format(u32),
}

impl Header {
    pub(crate) fn encode(&self) -> Vec<u8> {
        let mut out = Vec::with_capacity(HEADER_BYTES as usize);
        out.put_slice(&HEADER_MAGIC);
        out.put_u32_le(FORMAT);
        out.put_u32_le(self.node.len() as u32);
        out.put_u64_le(self.id);
        out.put_u64_le(self.start);
        out.put_u64_le(self.config_hash);
        out.put_slice(self.node.as_bytes());
        out.resize(CHECKED, 0);
        out.put_u32_le(crc32c::crc32c(&out));
        out
    }

    pub(crate) fn decode(bytes: &[u8; HEADER_BYTES as usize]) -> Result<Self, BadHeader> {
        let mut body = open_envelope(bytes, HEADER_MAGIC)?;
        let node_len = body.get_u32_le() as usize;
        let (id, start, config_hash) = (body.get_u64_le(), body.get_u64_le(), body.get_u64_le());
        let node = body.get(..node_len.min(NODE_BYTES)).and_then(|n| std::str::from_utf8(n).ok());
        let node = node.ok_or(BadHeader::Checksum)?.to_owned();
        Ok(Self { id, start, config_hash, node })
    }
}

/// Checks magic, checksum (the last four bytes) and format, in this order, and returns what is between.
pub(crate) fn open_envelope(bytes: &[u8], magic: [u8; 8]) -> Result<&[u8], BadHeader> {
    let body = bytes.strip_prefix(&magic).ok_or(BadHeader::Magic)?;
    let (checked, mut sum) = bytes.split_at(bytes.len() - 4);
    if crc32c::crc32c(checked) != sum.get_u32_le() {
        return Err(BadHeader::Checksum);
    }
    let mut body = &body[..body.len() - 4];
    match body.get_u32_le() {
        FORMAT => Ok(body),
        other => Err(BadHeader::Format(other)),
    }
}

/// What a frame holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Kind {
    Record,
    Void,
}

/// The 16 bytes before a record.
#[derive(Clone, Copy, Debug)]
pub(crate) struct FrameHead {
    pub kind: Kind,
    pub length: u32,
    pub synced: u32,
    pub checksum: u32,
}

/// Writes and recognises the frames of one segment.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Stamp {
    start: u64,
    seed: u32,
    pub record_mark: u32,
    pub void_mark: u32,
}

impl Stamp {
    pub(crate) fn new(id: u64, start: u64) -> Self {
        let drawn = |salt: u8| {
            let mut from = [salt; 17];
            from[1..9].copy_from_slice(&id.to_le_bytes());
            from[9..].copy_from_slice(&start.to_le_bytes());
            crc32c::crc32c(&from)
        };
        // Odd, so that zeros are never a frame, and different in a bit that stays.
        let record_mark = drawn(1) | 1;
        Self { start, seed: drawn(2), record_mark, void_mark: record_mark ^ 0x5A5A_5A5A }
    }

    /// The position of an offset in the file.
    pub(crate) fn position(&self, offset: u64) -> u64 {
        self.start + offset - HEADER_BYTES
    }

    /// The offset in the file of a position.
    pub(crate) fn offset(&self, position: u64) -> u64 {
        position - self.start + HEADER_BYTES
    }

    /// Appends a record's frame that will stand at `offset`.
    pub(crate) fn put_record(&self, out: &mut Vec<u8>, offset: u64, synced: u64, record: &[u8]) {
        let head = head(self.record_mark, record.len() as u32, synced as u32);
        let checksum = crc32c::crc32c_append(self.begin(&head, offset), record);
        out.put_slice(&head);
        out.put_u32_le(checksum);
        out.put_slice(record);
    }

    /// The head of a void of `bytes` in all, at least [`FRAME_BYTES`].
    pub(crate) fn void_head(&self, offset: u64, bytes: u32) -> Vec<u8> {
        let head = head(self.void_mark, bytes - FRAME_BYTES as u32, offset as u32);
        let mut out = head.to_vec();
        out.put_u32_le(self.begin(&head, offset));
        out
    }

    /// Reads a head; `None` where the mark is not this segment's.
    pub(crate) fn read_head(&self, mut bytes: &[u8]) -> Option<FrameHead> {
        let kind = match bytes.get_u32_le() {
            mark if mark == self.record_mark => Kind::Record,
            mark if mark == self.void_mark => Kind::Void,
            _ => return None,
        };
        let (length, synced, checksum) = (bytes.get_u32_le(), bytes.get_u32_le(), bytes.get_u32_le());
        Some(FrameHead { kind, length, synced, checksum })
    }

    /// The checksum over a head; that of the record is appended to it.
    pub(crate) fn begin(&self, head: &[u8], offset: u64) -> u32 {
        let sum = crc32c::crc32c_append(self.seed, &head[..FRAME_BYTES - 4]);
        crc32c::crc32c_append(sum, &self.position(offset).to_le_bytes())
    }
}

/// A frame's head without its checksum.
fn head(mark: u32, length: u32, synced: u32) -> [u8; FRAME_BYTES - 4] {
    let mut head = [0; FRAME_BYTES - 4];
    let mut out = &mut head[..];
    out.put_u32_le(mark);
    out.put_u32_le(length);
    out.put_u32_le(synced);
    head
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_frame_of_one_journal_or_segment_is_none_in_another_even_with_the_right_mark() {
        let head = head(1, 0, 128);
        let sums = [(1, 0), (2, 0), (1, 500)].map(|(id, start)| Stamp::new(id, start).begin(&head, 128));
        assert!(sums[0] != sums[1] && sums[0] != sums[2] && sums[1] != sums[2]);
        // The position alone tells segments apart; journals differ by what nobody can know.
        let marks = [(1, 0), (2, 0), (1, 500)].map(|(id, start)| Stamp::new(id, start).record_mark);
        assert!(marks[0] != marks[1] && marks[0] != marks[2] && marks[1] != marks[2]);
    }

    #[test]
    fn zeros_are_no_frame_and_a_void_is_no_record() {
        for id in 0..1000 {
            let stamp = Stamp::new(id, 0);
            assert!(stamp.read_head(&[0; FRAME_BYTES]).is_none());
            assert_ne!(stamp.record_mark, stamp.void_mark);
        }
    }
}
