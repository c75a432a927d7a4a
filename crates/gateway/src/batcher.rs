use std::collections::HashMap;
use std::time::{Duration, Instant};

use rimeline_channels::{Batch, Event, EventKind, Id, Reading, UnixMs};

use crate::BatchLimits;

/// Collects readings and events of many units until a batch is full or old enough.
#[derive(Debug)]
pub struct Batcher {
    limits: BatchLimits,
    batch: Batch,
    places: HashMap<Id, u32>,
    opened: Option<Instant>,
}

impl Batcher {
    /// An empty one.
    pub fn new(limits: BatchLimits) -> Self {
        Self { limits, batch: Batch::default(), places: HashMap::new(), opened: None }
    }

    /// Adds a reading; returns the batch that is full with it, or that had no room for its unit.
    pub fn push(&mut self, unit: &Id, reading: &Reading, now: Instant) -> Option<Batch> {
        let full = self.room_for(unit);
        let place = self.place(unit, now);
        self.batch.push(place, reading);
        full.or_else(|| (self.batch.rows() >= self.limits.rows).then(|| self.take())?)
    }

    /// Adds an event; returns the batch that is full with it, or that had no room for its unit.
    pub fn push_event(&mut self, unit: &Id, time: UnixMs, kind: EventKind, now: Instant) -> Option<Batch> {
        let full = self.room_for(unit);
        let place = self.place(unit, now);
        self.batch.events.push(Event { unit: place, time, kind });
        full.or_else(|| (self.batch.events.len() >= self.limits.rows).then(|| self.take())?)
    }

    /// When the batch will be old enough; `None` while it is empty.
    pub fn due(&self) -> Option<Instant> {
        self.opened.map(|opened| opened + self.limits.age.min(Duration::from_secs(86_400)))
    }

    /// The batch, if it is old enough.
    pub fn take_due(&mut self, now: Instant) -> Option<Batch> {
        self.due().filter(|due| *due <= now).and_then(|_| self.take())
    }

    /// The batch as it is, if it holds anything.
    pub fn take(&mut self) -> Option<Batch> {
        self.opened.take()?;
        self.places.clear();
        Some(std::mem::take(&mut self.batch))
    }

    fn room_for(&mut self, unit: &Id) -> Option<Batch> {
        let crowded = self.places.len() >= self.limits.units && !self.places.contains_key(unit);
        crowded.then(|| self.take())?
    }

    fn place(&mut self, unit: &Id, now: Instant) -> u32 {
        self.opened.get_or_insert(now);
        if let Some(&place) = self.places.get(unit) {
            return place;
        }
        let place = self.batch.units.len() as u32;
        self.batch.units.push(unit.clone());
        self.places.insert(unit.clone(), place);
        place
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use rimeline_channels::State;

    use super::*;

    const LIMITS: BatchLimits =
        BatchLimits { rows: 3, units: 2, bytes: 1 << 20, age: Duration::from_secs(5) };

    fn unit(name: &str) -> Id {
        Id::new(name).unwrap()
    }

    fn reading(time: UnixMs) -> Reading {
        Reading::new(time, State::default())
    }

    #[test]
    fn a_batch_is_full_at_its_rows() {
        let (mut batcher, now) = (Batcher::new(LIMITS), Instant::now());
        assert_eq!(batcher.push(&unit("A"), &reading(1), now), None);
        assert_eq!(batcher.push(&unit("B"), &reading(2), now), None);
        let full = batcher.push(&unit("A"), &reading(3), now).unwrap();
        assert_eq!(
            (full.units, full.unit_of_row, full.times),
            (vec![unit("A"), unit("B")], vec![0, 1, 0], vec![1, 2, 3])
        );
        assert_eq!(batcher.take(), None);
    }

    #[test]
    fn a_unit_too_many_begins_the_next_batch_and_is_not_lost() {
        let (mut batcher, now) = (Batcher::new(LIMITS), Instant::now());
        assert_eq!(batcher.push(&unit("A"), &reading(1), now), None);
        assert_eq!(batcher.push(&unit("B"), &reading(2), now), None);
        let full = batcher.push(&unit("C"), &reading(3), now).unwrap();
        assert_eq!(full.times, [1, 2]);
        assert_eq!(batcher.take().unwrap().times, [3]);
    }

    #[test]
    fn a_batch_is_due_its_age_after_its_first_reading_even_if_it_only_holds_an_event() {
        let (mut batcher, now) = (Batcher::new(LIMITS), Instant::now());
        assert_eq!((batcher.due(), batcher.take_due(now)), (None, None));
        let kind = EventKind::SetPointChanged(-200);
        assert_eq!(batcher.push_event(&unit("A"), 9, kind, now), None);
        assert_eq!(batcher.push(&unit("A"), &reading(1), now + LIMITS.age / 2), None);
        assert_eq!(batcher.due(), Some(now + LIMITS.age));
        assert_eq!(batcher.take_due(now + LIMITS.age.mul_f32(0.9)), None);
        let batch = batcher.take_due(now + LIMITS.age).unwrap();
        assert_eq!((batch.rows(), batch.events.len()), (1, 1));
        assert_eq!(batcher.due(), None);
    }
}
