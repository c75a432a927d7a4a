use rimeline_channels::Batch;

/// A row or an event of a batch.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Item {
    Row(usize),
    Event(usize),
}

/// Everything in a batch in order of time; of two things at one time, events before rows, then as they came.
pub(crate) fn by_time(batch: &Batch, order: &mut Vec<Item>) {
    order.clear();
    order.extend((0..batch.events.len()).map(Item::Event));
    order.extend((0..batch.rows()).map(Item::Row));
    let time = |item: &Item| match *item {
        Item::Row(row) => batch.times[row],
        Item::Event(event) => batch.events[event].time,
    };
    if !order.is_sorted_by_key(time) {
        order.sort_by_key(time);
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use rimeline_channels::{Event, EventKind, Id, Reading, State};

    use super::*;

    #[test]
    fn rows_and_events_of_a_batch_are_taken_in_order_of_time() {
        let mut batch = Batch::default();
        let unit = batch.unit_index(&Id::new("A").unwrap());
        for time in [30, 10, 20] {
            batch.push(unit, &Reading::new(time, State::default()));
        }
        batch.events.push(Event { unit, time: 20, kind: EventKind::SetPointChanged(1) });
        let mut order = Vec::new();
        by_time(&batch, &mut order);
        assert_eq!(order, [Item::Row(1), Item::Event(0), Item::Row(2), Item::Row(0)]);
    }
}
