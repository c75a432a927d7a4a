//! What the tests of a gateway share: a server that can be told to misbehave, a wire that can be cut, and readings.
#![allow(dead_code, unreachable_pub, clippy::unwrap_used, clippy::expect_used)]

pub mod peer;
pub mod wire;

use std::sync::{Arc, Mutex};
use std::time::Duration;

use rimeline_channels::{Alarm, Batch, Channel, Event, EventKind, Id, Reading, State};
use rimeline_clock::{Clock, WallClock};
use rimeline_gateway::{Backoff, Config, Gateway, Notice, Observer, SpoolConfig};

pub const GATEWAY: &str = "G-1";
pub const PATIENCE: Duration = Duration::from_secs(30);

pub fn id(text: &str) -> Id {
    Id::new(text).unwrap()
}

/// A configuration that loses no time.
pub fn config(endpoint: &str) -> Config {
    let mut config = Config::new(endpoint, id(GATEWAY));
    config.backoff = Backoff { first: Duration::from_millis(2), most: Duration::from_millis(40) };
    config.answer_within = Duration::from_secs(5);
    config.epoch = Some(7);
    config
}

pub fn spool(dir: &tempfile::TempDir, max_bytes: u64) -> SpoolConfig {
    let dir = dir.path().to_owned();
    SpoolConfig { dir, max_bytes }
}

pub fn clock() -> Arc<dyn Clock> {
    Arc::new(WallClock::default())
}

/// One reading that says which one it is.
pub fn reading(number: i64) -> Reading {
    let mut reading = Reading::new(1_700_000_000_000 + number, State::default());
    reading.set_quantity(Channel::CompressorStarts, number as f64);
    reading
}

/// A batch of one reading that says which one it is.
pub fn batch(number: i64) -> Batch {
    let mut batch = Batch::default();
    let unit = batch.unit_index(&id("U-1"));
    batch.push(unit, &reading(number));
    batch
}

/// A batch that takes about this much room and a little more.
pub fn heavy_batch(number: i64, bytes: usize) -> Batch {
    let mut batch = batch(number);
    let alarm = Alarm { code: String::new(), text: "x".repeat(bytes), by_person: false };
    batch.events.push(Event { unit: 0, time: number, kind: EventKind::AlarmRaised(alarm) });
    batch
}

/// Collects what a gateway tells.
#[derive(Clone, Default)]
pub struct Ear(Arc<Mutex<Vec<Notice>>>);

impl Ear {
    pub fn observer(&self) -> Observer {
        let heard = Arc::clone(&self.0);
        Arc::new(move |notice| heard.lock().unwrap().push(notice))
    }

    pub fn heard(&self) -> Vec<Notice> {
        self.0.lock().unwrap().clone()
    }
}

pub async fn connect(config: Config) -> Gateway {
    Gateway::connect(config, clock()).await.unwrap()
}

/// Waits for something to come true.
pub async fn until(what: &str, mut holds: impl FnMut() -> bool) {
    let waiting = async {
        while !holds() {
            tokio::time::sleep(Duration::from_millis(2)).await;
        }
    };
    tokio::time::timeout(PATIENCE, waiting).await.unwrap_or_else(|_| panic!("never: {what}"));
}
