//! What has been received from whom.

use std::collections::{BTreeSet, HashMap};

use rimeline_wire::record;

/// What is durable of one gateway's newest epoch, and what is on its way to disk.
#[derive(Clone, Debug, Default)]
struct Producer {
    epoch: u64,
    /// Every sequence up to and including this one is durable.
    through: u64,
    /// Durable sequences beyond `through`.
    beyond: BTreeSet<u64>,
    in_flight: BTreeSet<u64>,
}

impl Producer {
    fn settle(&mut self, sequence: u64) {
        if sequence > self.through {
            self.beyond.insert(sequence);
        }
        self.close_up();
    }

    fn skip_below(&mut self, oldest: u64) {
        if let Some(gone) = oldest.checked_sub(1) {
            self.through = self.through.max(gone);
            self.beyond = self.beyond.split_off(&oldest);
            self.close_up();
        }
    }

    fn close_up(&mut self) {
        while self.beyond.remove(&(self.through + 1)) {
            self.through += 1;
        }
    }
}

/// Whether a batch may be stored.
#[derive(Debug, PartialEq, Eq)]
pub(crate) enum Admission {
    /// It is new; it counts as in flight until [`Producers::settled`] or [`Producers::dropped`].
    New,
    /// It is durable already.
    Duplicate,
    /// The same batch is on its way to disk right now.
    InFlight,
    /// A newer epoch has been heard.
    OldEpoch(u64),
    /// Too far ahead of a missing one; the last sequence without a gap.
    Gap(u64),
}

/// What has been received from every gateway.
#[derive(Debug, Default)]
pub(crate) struct Producers(HashMap<String, Producer>);

impl Producers {
    /// Hears a Hello: the last sequence without a gap, or the newer epoch that rules it out.
    pub(crate) fn greet(&mut self, gateway: &str, epoch: u64, oldest_sequence: u64) -> Result<u64, u64> {
        let producer = self.0.entry(gateway.to_owned()).or_default();
        if epoch < producer.epoch {
            return Err(producer.epoch);
        }
        if epoch > producer.epoch {
            *producer = Producer { epoch, ..Producer::default() };
        }
        producer.skip_below(oldest_sequence);
        Ok(producer.through)
    }

    pub(crate) fn admit(&mut self, gateway: &str, epoch: u64, sequence: u64, max_gap: u32) -> Admission {
        let producer = self.0.entry(gateway.to_owned()).or_default();
        if epoch != producer.epoch {
            return Admission::OldEpoch(producer.epoch);
        }
        if sequence <= producer.through || producer.beyond.contains(&sequence) {
            return Admission::Duplicate;
        }
        if sequence - producer.through > u64::from(max_gap) + producer.in_flight.len() as u64 {
            return Admission::Gap(producer.through);
        }
        if producer.in_flight.insert(sequence) { Admission::New } else { Admission::InFlight }
    }

    /// The batch is durable. Returns the last sequence without a gap.
    pub(crate) fn settled(&mut self, gateway: &str, epoch: u64, sequence: u64) -> u64 {
        let Some(producer) = self.0.get_mut(gateway).filter(|p| p.epoch == epoch) else {
            return 0;
        };
        producer.in_flight.remove(&sequence);
        producer.settle(sequence);
        producer.through
    }

    /// The batch did not become durable.
    pub(crate) fn dropped(&mut self, gateway: &str, epoch: u64, sequence: u64) {
        if let Some(producer) = self.0.get_mut(gateway).filter(|p| p.epoch == epoch) {
            producer.in_flight.remove(&sequence);
        }
    }

    pub(crate) fn through(&self, gateway: &str) -> u64 {
        self.0.get(gateway).map_or(0, |p| p.through)
    }

    /// Takes note of a record of the journal.
    pub(crate) fn replay(&mut self, body: &record::Body) {
        match body {
            // Of an epoch that was over when it was written: nothing to remember.
            record::Body::Readings(old)
                if self.greet(&old.gateway, old.epoch, old.oldest_sequence).is_err() => {}
            record::Body::Readings(readings) => {
                self.settled(&readings.gateway, readings.epoch, readings.sequence);
            }
            record::Body::Producers(snapshot) => {
                for known in &snapshot.producers {
                    if self.greet(&known.gateway, known.epoch, known.through + 1).is_ok() {
                        for sequence in &known.beyond {
                            self.settled(&known.gateway, known.epoch, *sequence);
                        }
                    }
                }
            }
            _ => {}
        }
    }

    /// All that is durable now.
    pub(crate) fn snapshot(&self) -> record::Producers {
        let one = |(gateway, producer): (&String, &Producer)| record::Producer {
            gateway: gateway.clone(),
            epoch: producer.epoch,
            through: producer.through,
            beyond: producer.beyond.iter().copied().collect(),
        };
        record::Producers { producers: self.0.iter().map(one).collect() }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn store(producers: &mut Producers, sequence: u64) -> u64 {
        assert_eq!(producers.admit("g", 1, sequence, 10), Admission::New);
        producers.settled("g", 1, sequence)
    }

    #[test]
    fn the_acknowledgement_is_cumulative_and_waits_for_the_missing_one() {
        let mut producers = Producers::default();
        assert_eq!(producers.greet("g", 1, 0), Ok(0));
        assert_eq!(store(&mut producers, 1), 1);
        assert_eq!(store(&mut producers, 3), 1);
        assert_eq!(store(&mut producers, 2), 3);
        assert_eq!(producers.admit("g", 1, 3, 10), Admission::Duplicate);
    }

    #[test]
    fn a_batch_on_its_way_to_disk_is_not_stored_twice() {
        let mut producers = Producers::default();
        producers.greet("g", 1, 0).unwrap();
        assert_eq!(producers.admit("g", 1, 1, 10), Admission::New);
        assert_eq!(producers.admit("g", 1, 1, 10), Admission::InFlight);
        producers.dropped("g", 1, 1);
        assert_eq!(producers.admit("g", 1, 1, 10), Admission::New);
    }

    #[test]
    fn a_gap_is_bounded_and_can_be_given_up() {
        let mut producers = Producers::default();
        producers.greet("g", 1, 0).unwrap();
        assert_eq!(producers.admit("g", 1, 11, 10), Admission::Gap(0));
        assert_eq!(producers.admit("g", 1, 10, 10), Admission::New);
        producers.dropped("g", 1, 10);
        assert_eq!(producers.greet("g", 1, 10), Ok(9));
        assert_eq!(producers.admit("g", 1, 11, 10), Admission::New);
    }

    #[test]
    fn a_new_epoch_starts_from_one_and_rules_the_old_one_out() {
        let mut producers = Producers::default();
        producers.greet("g", 1, 0).unwrap();
        store(&mut producers, 1);
        assert_eq!(producers.greet("g", 2, 0), Ok(0));
        assert_eq!(producers.greet("g", 1, 0), Err(2));
        assert_eq!(producers.admit("g", 1, 2, 10), Admission::OldEpoch(2));
    }

    #[test]
    fn a_snapshot_says_all_that_the_records_before_it_said() {
        let mut producers = Producers::default();
        producers.greet("g", 1, 0).unwrap();
        for sequence in [1, 2, 5] {
            store(&mut producers, sequence);
        }
        let mut rebuilt = Producers::default();
        rebuilt.replay(&record::Body::Producers(producers.snapshot()));
        for (sequence, expected) in
            [(2, Admission::Duplicate), (5, Admission::Duplicate), (3, Admission::New)]
        {
            assert_eq!(rebuilt.admit("g", 1, sequence, 10), expected);
        }
    }
}
