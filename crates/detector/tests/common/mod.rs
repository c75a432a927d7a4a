#![allow(dead_code, clippy::unwrap_used, clippy::expect_used)]

use std::path::PathBuf;

use rimeline_channels::{Reading, UnixMs};
use rimeline_detector::{Config, Fleet, Mark, Output, Signal, Standing, UnitSetup, UnitState};

/// A folder of measured data: from the variable, else beside the repository. `None`, with a printed reason: not there.
#[allow(clippy::print_stderr)]
pub fn measured(variable: &str, beside: &str, file: &str) -> Option<PathBuf> {
    let root = std::env::var_os(variable).map(PathBuf::from).unwrap_or_else(|| {
        PathBuf::from(env!("CARGO_MANIFEST_DIR"))
            .join("../../..")
            .join(beside)
    });
    let path = root.join(file);
    if path.exists() {
        return Some(path);
    }
    eprintln!("skipped: there is no {}; set {variable}", path.display());
    None
}

/// One unit, its setup and what was said about it.
pub struct Watched {
    pub state: UnitState,
    pub setup: UnitSetup,
    pub config: Config,
    pub signals: Vec<Signal>,
    pub marks: Vec<Mark>,
    out: Output,
}

impl Watched {
    pub fn new(setup: UnitSetup) -> Self {
        Self {
            state: UnitState::new(),
            setup,
            config: Config::default(),
            signals: Vec::new(),
            marks: Vec::new(),
            out: Output::default(),
        }
    }

    pub fn observe(&mut self, reading: &Reading, fleet: &mut Fleet) {
        self.out.clear();
        self.state
            .observe(reading, &self.setup, &self.config, fleet, &mut self.out);
        self.signals.append(&mut self.out.signals);
        self.marks.append(&mut self.out.marks);
    }

    pub fn tick(&mut self, now: UnixMs) {
        self.out.clear();
        self.state.tick(now, &self.setup, &self.config, &mut self.out);
        self.signals.append(&mut self.out.signals);
    }

    pub fn opened(&self) -> Vec<&Signal> {
        self.signals
            .iter()
            .filter(|s| matches!(s.standing, Standing::Open | Standing::Escalated))
            .collect()
    }

    pub fn told(&self) -> Vec<String> {
        self.signals.iter().map(told).collect()
    }
}

pub fn told(s: &Signal) -> String {
    format!(
        "{} {:?} {} {:?} onset {} strength {:.2} p {:.2}: {}\n    {}",
        s.at,
        s.standing,
        s.condition,
        s.channel,
        s.onset,
        s.strength,
        s.confidence,
        s.headline,
        s.evidence.statements.join("\n    ")
    )
}
