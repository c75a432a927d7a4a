//! Cutting a batch to size, and its bytes.

use bytes::{BufMut, Bytes, BytesMut};
use prost::Message;
use prost::encoding::{WireType, encode_key, encode_varint};
use rimeline_channels::{Batch, Reading};
use rimeline_wire::batch;

use crate::GatewayError;

/// What a batch may hold, by configuration and by the server.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Room {
    pub rows: usize,
    pub units: usize,
    /// Wanted at most.
    pub bytes: usize,
    /// What cannot be cut further may take this.
    pub bytes_at_most: usize,
}

/// A batch of the contract as bytes, but for its sequence.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Body(Bytes);

/// A field header and the longest sequence.
const SEQUENCE_BYTES: usize = 11;
const SEQUENCE_FIELD: u32 = 1;

impl Body {
    /// Bytes with the longest sequence.
    pub(crate) fn len(&self) -> usize {
        self.0.len() + SEQUENCE_BYTES
    }

    /// Appends the message with its sequence. Fields may come in any order, so the sequence goes first.
    pub(crate) fn put(&self, sequence: u64, buffer: &mut impl BufMut) {
        encode_key(SEQUENCE_FIELD, WireType::Varint, buffer);
        encode_varint(sequence, buffer);
        buffer.put_slice(&self.0);
    }

    /// The message with its sequence.
    pub(crate) fn bytes(&self, sequence: u64) -> Bytes {
        let mut bytes = BytesMut::with_capacity(self.len());
        self.put(sequence, &mut bytes);
        bytes.freeze()
    }
}

/// The batch as messages that fit, in order.
pub(crate) fn fit(batch: &Batch, room: Room) -> Result<Vec<Body>, GatewayError> {
    batch.check()?;
    let mut parts = Vec::new();
    fit_into(batch, room, &mut parts)?;
    Ok(parts)
}

fn fit_into(batch: &Batch, room: Room, parts: &mut Vec<Body>) -> Result<(), GatewayError> {
    let smallest = batch.rows() + batch.events.len() < 2;
    if smallest || batch.rows() <= room.rows && batch.units.len() <= room.units {
        let body = Body(batch::write(batch, 0).encode_to_vec().into());
        let limit = if smallest { room.bytes_at_most } else { room.bytes };
        if body.len() <= limit {
            parts.push(body);
            return Ok(());
        }
        if smallest {
            let bytes = body.len();
            return Err(GatewayError::TooLarge { bytes, limit });
        }
    }
    for half in halves(batch) {
        fit_into(&half, room, parts)?;
    }
    Ok(())
}

/// Two batches with half the readings and half the events each.
fn halves(batch: &Batch) -> [Batch; 2] {
    let mut halves = [Batch::default(), Batch::default()];
    let mut reading = Reading::default();
    for row in 0..batch.rows() {
        let half = &mut halves[usize::from(row >= batch.rows().div_ceil(2))];
        let unit = half.unit_index(batch.unit(row));
        batch.read_row(row, &mut reading);
        half.push(unit, &reading);
    }
    for (index, event) in batch.events.iter().enumerate() {
        let half = &mut halves[usize::from(index >= batch.events.len() / 2)];
        let mut event = event.clone();
        event.unit = half.unit_index(&batch.units[event.unit as usize]);
        half.events.push(event);
    }
    halves
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use rimeline_channels::{Channel, Event, EventKind, Id, State};
    use rimeline_wire::pb;

    use super::*;

    fn batch(rows: i64) -> Batch {
        let mut batch = Batch::default();
        for row in 0..rows {
            let unit = batch.unit_index(&Id::new(&format!("U{}", row % 7)).unwrap());
            let mut reading = Reading::new(row * 60_000, State::default());
            reading.set_quantity(Channel::Coil, row as f64);
            batch.push(unit, &reading);
            let kind = EventKind::SetPointChanged(row as i32);
            batch.events.push(Event { unit, time: row, kind });
        }
        batch
    }

    fn room(rows: usize, units: usize, bytes: usize) -> Room {
        Room { rows, units, bytes, bytes_at_most: 1 << 20 }
    }

    #[test]
    fn parts_obey_every_limit_and_together_are_the_batch() {
        let whole = batch(100);
        for (rows, units, bytes) in [(30, 7, 1 << 20), (1_000, 3, 1 << 20), (1_000, 7, 300), (1, 1, 200)] {
            let parts = fit(&whole, room(rows, units, bytes)).unwrap();
            assert!(parts.len() > 3, "{rows} {units} {bytes}: {}", parts.len());
            let (mut times, mut events) = (Vec::new(), Vec::new());
            for part in parts {
                let encoded = part.bytes(u64::MAX);
                assert!(encoded.len() <= bytes);
                let part = pb::Batch::decode(encoded).unwrap();
                assert!(
                    part.sequence == u64::MAX
                        && part.time_delta_ms.len() <= rows
                        && part.units.len() <= units
                );
                let part = batch::read_stored(&part);
                let mut row = Reading::default();
                for i in 0..part.rows() {
                    part.read_row(i, &mut row);
                    assert_eq!(row.quantity(Channel::Coil), Some((row.time / 60_000) as f64));
                    assert_eq!(part.unit(i).as_str(), format!("U{}", row.time / 60_000 % 7));
                    times.push(row.time);
                }
                events.extend(part.events.iter().map(|event| event.time));
            }
            assert_eq!(times, whole.times);
            assert_eq!(events, (0..100).collect::<Vec<_>>());
        }
    }

    #[test]
    fn a_batch_that_fits_stays_whole() {
        assert_eq!(fit(&batch(10), room(10, 7, 1 << 20)).unwrap().len(), 1);
        assert_eq!(fit(&Batch::default(), room(10, 7, 1 << 20)).unwrap().len(), 1);
    }

    #[test]
    fn one_reading_may_be_larger_than_wanted_but_not_than_can_be_kept() {
        let mut one = batch(1);
        one.events.clear();
        assert_eq!(fit(&one, room(10, 10, 1)).unwrap().len(), 1);
        let kept = Room { bytes_at_most: 15, ..room(10, 10, 1) };
        assert!(matches!(fit(&one, kept), Err(GatewayError::TooLarge { limit: 15, .. })));
    }
}
