use serde::{Deserialize, Serialize};

/// How the assessing role works.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct AssessConfig {
    /// Journal bytes of one step at most. Default 1 MiB, at least 4 KiB. A step is what is repeated after a crash.
    pub step_bytes: usize,
    /// Shortest time between two steps while little arrives, milliseconds. Default 100.
    pub step_every_ms: u32,
    /// How often the passing of time itself is judged, for units that fell silent, seconds. Default 60, at least 1.
    pub tick_seconds: u32,
    /// Thresholds of the detectors.
    pub detector: rimeline_detector::Config,
}

impl Default for AssessConfig {
    fn default() -> Self {
        Self {
            step_bytes: 1 << 20,
            step_every_ms: 100,
            tick_seconds: 60,
            detector: rimeline_detector::Config::default(),
        }
    }
}

impl AssessConfig {
    /// Names the first field that cannot work.
    pub fn check(&self) -> Result<(), String> {
        if self.step_bytes < 4_096 {
            return Err(format!("assess.step_bytes is {}; at least 4096 is needed", self.step_bytes));
        }
        if self.tick_seconds == 0 {
            return Err("assess.tick_seconds is 0; at least 1 is needed".to_owned());
        }
        self.detector.check().map_err(|error| format!("assess.detector.{error}"))
    }
}
