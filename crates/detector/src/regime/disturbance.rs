use rimeline_channels::UnixMs;
use serde::{Deserialize, Serialize};

/// Something that lifts the return air, and the way back from it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Disturbance {
    pub(super) since: Option<UnixMs>,
    pub(super) ended: Option<UnixMs>,
    before: Option<f32>,
    /// When it ended last, recovered from or not.
    last_end: Option<UnixMs>,
}

impl Disturbance {
    pub(super) fn begin(&mut self, at: UnixMs, ret: Option<f32>) {
        // A second opening during the recovery still aims at the air before the first.
        let before = if self.ended.is_some() { self.before.or(ret) } else { ret };
        *self = Self { since: Some(at), ended: None, before, last_end: self.last_end };
    }

    pub(super) fn end(&mut self, at: UnixMs) {
        if self.since.take().is_some() {
            self.ended = Some(at);
            self.last_end = Some(at);
        }
    }

    /// Whether it lasts, or ended less than `settle` ms ago.
    pub(super) fn recent(&self, at: UnixMs, settle: i64) -> bool {
        self.since.is_some() || self.last_end.is_some_and(|end| at - end < settle)
    }

    /// Whether it masks at `at`, with at most `active` ms while it lasts and `recovery` ms after it.
    pub(super) fn masks(
        &mut self,
        at: UnixMs,
        ret: Option<f64>,
        active: i64,
        recovery: i64,
        near: f64,
    ) -> bool {
        if let Some(since) = self.since {
            return at - since <= active;
        }
        let Some(ended) = self.ended else { return false };
        let back = matches!((ret, self.before), (Some(now), Some(before)) if now <= f64::from(before) + near);
        if back || at - ended > recovery {
            self.ended = None;
            self.before = None;
            return false;
        }
        true
    }
}
