use crate::pb::{Refusal, RefusalReason, RefusedItem};

/// Refusals of one batch; the last one counts the rest.
const MOST: usize = 1_000;

/// Collects refusals; neighbours refused for the same reason become one entry.
#[derive(Debug, Default)]
pub(super) struct Refusals(Vec<Refusal>);

impl Refusals {
    pub(super) fn add(
        &mut self,
        item: RefusedItem,
        index: usize,
        reason: RefusalReason,
        field: &str,
        message: impl FnOnce() -> String,
    ) {
        let index = index as u32;
        if let Some(last) = self.0.last_mut() {
            let same = last.item == item as i32 && last.reason == reason as i32 && last.field == field;
            if same && item != RefusedItem::Batch && last.index + last.count == index {
                last.count += 1;
                return;
            }
        }
        if self.0.len() >= MOST {
            if let Some(last) = self.0.last_mut() {
                last.count += 1;
            }
            return;
        }
        self.0.push(Refusal {
            item: item as i32,
            index,
            count: 1,
            reason: reason as i32,
            field: field.to_owned(),
            message: message(),
        });
    }

    pub(super) fn into_vec(self) -> Vec<Refusal> {
        self.0
    }
}
