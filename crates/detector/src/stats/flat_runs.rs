use serde::{Deserialize, Serialize};

/// When values that stand still count as a run.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct FlatRunDesign {
    /// Greatest difference between any two values of a run, in the unit of the values; 0: all are equal.
    pub tolerance: f64,
    /// Fewest values.
    pub least_count: u32,
    /// Shortest time from the first to the last value, ms.
    pub least_ms: i64,
    /// A longer time between two values ends a run, ms: nothing is known of what happened in between.
    pub longest_gap_ms: i64,
}

/// A stretch in which values stood still.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct FlatSpan {
    /// Time of its first value.
    pub from: i64,
    /// Time of its last value.
    pub to: i64,
    /// Values in it.
    pub count: u32,
    /// Smallest value.
    pub low: f64,
    /// Greatest value.
    pub high: f64,
}

/// Follows one channel and knows since when its values have stood still.
///
/// That a channel stands still is no fault by itself: a healthy sensor with coarse steps in a quiet load repeats
/// itself for hours. Whoever judges must know that what it should follow moved.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct FlatRun {
    span: Option<FlatSpan>,
}

impl FlatRun {
    /// Takes a value in time order and answers the run it ended, where that was long enough. A value that is not
    /// finite is passed over as if it was never sent.
    pub fn step(&mut self, design: &FlatRunDesign, at: i64, value: f64) -> Option<FlatSpan> {
        if !value.is_finite() {
            return None;
        }
        if let Some(span) = &mut self.span {
            let (low, high) = (span.low.min(value), span.high.max(value));
            if high - low <= design.tolerance && at - span.to <= design.longest_gap_ms {
                *span = FlatSpan { to: at, count: span.count.saturating_add(1), low, high, ..*span };
                return None;
            }
        }
        let ended = self.current(design);
        self.span = Some(FlatSpan { from: at, to: at, count: 1, low: value, high: value });
        ended
    }

    /// The run that stands now, where it is long enough already.
    pub fn current(&self, design: &FlatRunDesign) -> Option<FlatSpan> {
        self.span.filter(|span| span.count >= design.least_count && span.to - span.from >= design.least_ms)
    }

    /// The newest values that stand still, however few; `None` before the first value.
    pub fn latest(&self) -> Option<FlatSpan> {
        self.span
    }

    /// Starts over.
    pub fn reset(&mut self) {
        self.span = None;
    }
}

/// All runs among values in time order, from the left, each as long as it gets. Times and values beyond the shorter
/// list are not looked at.
pub fn flat_runs(times: &[i64], values: &[f64], design: &FlatRunDesign) -> Vec<FlatSpan> {
    let mut run = FlatRun::default();
    let mut spans: Vec<FlatSpan> =
        times.iter().zip(values).filter_map(|(&at, &value)| run.step(design, at, value)).collect();
    spans.extend(run.current(design));
    spans
}
