use serde::{Deserialize, Serialize};

use crate::Condition;

/// Minutes after which both sums are halved, so that the share is of the last months.
const MOST_MIN: f32 = 90.0 * 1440.0;

/// In which share of the reported time each test could decide.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Able {
    reported: f32,
    decided: [f32; Condition::ALL.len()],
    /// Reported in the day under way: what a daily test decides about.
    today: f32,
}

fn index(condition: Condition) -> usize {
    condition as usize - 1
}

impl Able {
    /// Time was reported.
    pub(crate) fn reported(&mut self, minutes: f64) {
        self.reported += minutes as f32;
        self.today += minutes as f32;
        if self.reported > MOST_MIN {
            self.reported /= 2.0;
            for minutes in &mut self.decided {
                *minutes /= 2.0;
            }
        }
    }

    /// A test could decide in that time.
    pub(crate) fn decided(&mut self, condition: Condition, minutes: f64) {
        self.decided[index(condition)] += minutes as f32;
    }

    /// A daily test could decide about the day that ends.
    pub(crate) fn decided_today(&mut self, condition: Condition) {
        self.decided[index(condition)] += self.today;
    }

    pub(crate) fn close_day(&mut self) {
        self.today = 0.0;
    }

    pub(crate) fn share(&self, condition: Condition) -> f64 {
        if self.reported <= 0.0 {
            return 0.0;
        }
        f64::from(self.decided[index(condition)] / self.reported).clamp(0.0, 1.0)
    }
}
