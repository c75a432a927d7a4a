use rimeline_channels::{Channel, EventKind, MINUTE_MS, Power, Reading, UnixMs};
use serde::{Deserialize, Serialize};

use crate::conditions::missing::Missing;
use crate::conditions::out_of_range::{Around, OutOfRange};
use crate::config::Config;
use crate::regime::{Inputs, Regime};
use crate::{Condition, Fleet, Judgement, Output, UnitSetup, Verdict};

/// Whether a reading was judged.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// It was.
    Assessed,
    /// It is not newer than the last one of this unit; nothing changed.
    NotAssessed,
}

/// Bytes that are no unit state of this version.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum StateError {
    /// Written by another version.
    #[error(
        "the detector state is of version {found}, this program reads version {known}; rebuild it from history"
    )]
    Version {
        /// The version found.
        found: u8,
        /// The version this program writes.
        known: u8,
    },
    /// Cut short or damaged.
    #[error("the detector state is damaged ({0}); rebuild it from history")]
    Damaged(String),
}

/// Version of the bytes of [`UnitState`].
const VERSION: u8 = 1;

/// Everything the detectors remember of one unit: bounded, and the same after a trip through bytes.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct UnitState {
    regime: Regime,
    out_of_range: OutOfRange,
    missing: Missing,
}

impl UnitState {
    /// A unit of which nothing is known yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Takes in the next reading of the unit. Findings are appended to `out`.
    pub fn observe(
        &mut self,
        reading: &Reading,
        setup: &UnitSetup,
        config: &Config,
        _fleet: &mut Fleet,
        out: &mut Output,
    ) -> Outcome {
        let at = reading.time;
        if self.regime.last().is_some_and(|last| at <= last) {
            return Outcome::NotAssessed;
        }
        let gap = self.regime.is_gap(at, setup.cadence_s, config);
        let dt = self.regime.last().filter(|_| !gap).map(|last| at - last);
        self.regime.apply_state(at, reading.state, gap);
        let around = Around {
            dt,
            cadence_s: self.regime.cadence_s(setup.cadence_s),
            setup,
            config,
        };
        let bad = self.out_of_range.step(reading, &around, out);
        let active = self.regime.powered() != Power::Off && reading.state.compressor_running() != Some(false);
        let active_ms = if active { dt.unwrap_or(0) } else { 0 };
        self.missing
            .step(reading, self.out_of_range.fitted(setup), active_ms, config, out);
        let clean = |channel: Channel| reading.quantity(channel).filter(|_| bad & channel.bit() == 0);
        let inputs = Inputs {
            ret: clean(Channel::ReturnAirControl).or_else(|| clean(Channel::ReturnAirCheck)),
            pd: clean(Channel::DischargePressure),
            throttle: clean(Channel::SuctionThrottle),
        };
        let _moment = self.regime.moment(at, gap, &inputs, setup.cadence_s, config);
        Outcome::Assessed
    }

    /// Takes in what happened between readings. Findings are appended to `out`.
    pub fn event(
        &mut self,
        kind: &EventKind,
        at: UnixMs,
        setup: &UnitSetup,
        config: &Config,
        _out: &mut Output,
    ) {
        match kind {
            EventKind::StateChanged(state) => {
                let gap = self.regime.is_gap(at, setup.cadence_s, config);
                self.regime.apply_state(at, *state, gap);
            }
            EventKind::SetPointChanged(fixed) => {
                self.regime.apply_set_point(at, *fixed, config);
            }
            EventKind::AlarmRaised(_) | EventKind::AlarmCleared(_) => {}
        }
    }

    /// Lets time pass without a reading. Findings are appended to `out`.
    pub fn tick(&mut self, _now: UnixMs, _setup: &UnitSetup, _config: &Config, _out: &mut Output) {}

    /// A person repaired it: the condition no longer stands, and what it was compared with is learned anew.
    pub fn serviced(&mut self, condition: Condition, channel: Option<Channel>, _at: UnixMs) {
        if condition == Condition::SensorOutOfRange {
            self.out_of_range.serviced(channel);
            self.missing.serviced();
        }
    }

    /// What every test makes of the unit now.
    pub fn judgements(&self, _setup: &UnitSetup, _config: &Config) -> Vec<Judgement> {
        let flagged = self.out_of_range.flagged().is_some() || self.missing.flagged();
        let verdict = if flagged { Verdict::Flagged } else { Verdict::Quiet };
        vec![Judgement {
            condition: Condition::SensorOutOfRange,
            verdict,
            reason: "every fitted sensor is watched".to_owned(),
            able_to_decide: 1.0,
        }]
    }

    /// The state as bytes, with their version first.
    pub fn to_bytes(&self) -> Vec<u8> {
        // Serialising plain numbers into memory cannot fail; an empty tail would be refused when read.
        let mut bytes = vec![VERSION];
        bytes.extend(postcard::to_allocvec(self).unwrap_or_default());
        bytes
    }

    /// The state from bytes of [`UnitState::to_bytes`].
    pub fn from_bytes(bytes: &[u8]) -> Result<Self, StateError> {
        match bytes {
            [] => Err(StateError::Damaged("no bytes".to_owned())),
            [VERSION, rest @ ..] => {
                postcard::from_bytes(rest).map_err(|e| StateError::Damaged(e.to_string()))
            }
            [found, ..] => Err(StateError::Version {
                found: *found,
                known: VERSION,
            }),
        }
    }
}

/// Longest time one reading may stand for, ms.
pub(crate) const LONGEST_STEP_MS: i64 = 60 * MINUTE_MS;
