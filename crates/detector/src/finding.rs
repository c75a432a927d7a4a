use rimeline_channels::{Channel, UnixMs};
use serde::{Deserialize, Serialize};

use crate::Condition;

/// Everything one step of a detector says. Reused between steps.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Output {
    /// Conditions that began to stand, were strengthened, or no longer stand.
    pub signals: Vec<Signal>,
    /// Single odd values that were set aside.
    pub marks: Vec<Mark>,
}

impl Output {
    /// Empties it for the next step.
    pub fn clear(&mut self) {
        self.signals.clear();
        self.marks.clear();
    }
}

/// Where a condition stands on one unit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Standing {
    /// First signs, not enough evidence to show anyone.
    Pending,
    /// Enough evidence.
    Open,
    /// Enough evidence, and worse than when it opened by the condition's own act-now level.
    Escalated,
    /// It no longer stands.
    Clear,
}

/// One condition of one unit begins to stand, changes, or no longer stands.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Signal {
    /// What.
    pub condition: Condition,
    /// Which channel, where the condition is of one channel.
    pub channel: Option<Channel>,
    /// How it stands now.
    pub standing: Standing,
    /// Time of the reading that decided it.
    pub at: UnixMs,
    /// Estimated time at which it began. Stays the same while the condition stands.
    pub onset: UnixMs,
    /// Statistic over its threshold; 1 is just enough to open.
    pub strength: f64,
    /// Probability that the condition is real, 0 to 0.95.
    pub confidence: f64,
    /// Hours until the load is harmed or the unit stops, where it can be said.
    pub hours_to_harm: Option<f64>,
    /// One line for a list: what is wrong, with the figure that matters.
    pub headline: String,
    /// What it rests on.
    pub evidence: Evidence,
}

/// What a signal rests on, enough to draw it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Evidence {
    /// What was seen and against what, in sentences.
    pub statements: Vec<String>,
    /// Series to draw.
    pub series: Vec<Series>,
    /// Levels to draw.
    pub limits: Vec<Limit>,
    /// Inputs that were masked or missing meanwhile.
    pub masked: Vec<String>,
    /// Days until a limit is reached.
    pub days_to_limit: Option<f64>,
    /// Early end of its 90 % interval.
    pub days_to_limit_early: Option<f64>,
    /// Late end of its 90 % interval; `None` with an early end given: it may never be reached.
    pub days_to_limit_late: Option<f64>,
}

/// Values over time.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Series {
    /// What is drawn.
    pub name: String,
    /// UCUM code.
    pub unit_of_measure: String,
    /// When.
    pub times: Vec<UnixMs>,
    /// Values, as many as times.
    pub values: Vec<f64>,
}

/// A level to compare with.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Limit {
    /// What it is.
    pub name: String,
    /// In the unit of measure of the series.
    pub value: f64,
}

/// A single odd value that was set aside and is no case by itself.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Mark {
    /// Which channel.
    pub channel: Channel,
    /// When.
    pub at: UnixMs,
    /// The value, in the channel's unit of measure.
    pub value: f64,
    /// What its neighbours in time say it should be.
    pub expected: f64,
    /// What was seen, in words.
    pub what: String,
}

/// What one test makes of a unit now.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Judgement {
    /// Which test.
    pub condition: Condition,
    /// What it says.
    pub verdict: Verdict,
    /// Why it abstains, how much it has learned, or how near its limit it is.
    pub reason: String,
    /// Share of reported time in which it could decide, 0 to 1.
    pub able_to_decide: f64,
}

/// What a test says.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// It can decide, and nothing is wrong.
    Quiet,
    /// Its baseline is not complete.
    Learning,
    /// Its inputs are missing, masked or suspect.
    Abstains,
    /// It has a condition standing.
    Flagged,
}
