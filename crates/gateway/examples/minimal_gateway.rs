//! A gateway in sixty lines: copy it, and put your own sensors where `read_sensors` is.
//!
//! `cargo run -p rimeline-gateway --example minimal_gateway -- http://127.0.0.1:7420 /var/lib/yard-1/spool`
#![allow(clippy::print_stdout, clippy::print_stderr)]

use std::sync::Arc;
use std::time::Duration;

use rimeline_channels::{Absence, Channel, Id, Measure, Power, State};
use rimeline_clock::{Clock, WallClock};
use rimeline_gateway::{Config, Gateway, Notice, Sample, SpoolConfig, WrongMeasure, reading};

/// What the unit says right now, in whatever units of measure it has.
fn read_sensors() -> Result<Vec<Sample>, WrongMeasure> {
    Ok(vec![
        Sample::new(Channel::ReturnAirControl, 36.3, Measure::Fahrenheit)?,
        Sample::new(Channel::SupplyAirControl, 0.4, Measure::Celsius)?,
        Sample::new(Channel::DischargePressure, 17.2, Measure::Bar)?,
        // A missing number always says why.
        Sample::absent(Channel::Coil, Absence::NotFitted),
    ])
}

/// Whoever runs the gateway wants to hear of these; the rest is routine.
fn tell(notice: Notice) {
    match notice {
        Notice::Receipt(receipt) => {
            for refusal in receipt.refusals {
                eprintln!("batch {}: {}: {}", receipt.sequence, refusal.field, refusal.message);
            }
        }
        Notice::Disconnected { reason, retry_in } => eprintln!("{reason}; next attempt in {retry_in:?}"),
        Notice::Dropped { first, last } => eprintln!("the spool is full: batches {first} to {last} are gone"),
        _ => {}
    }
}

#[tokio::main]
async fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut arguments = std::env::args().skip(1);
    let (Some(endpoint), Some(dir)) = (arguments.next(), arguments.next()) else {
        return Err("usage: minimal_gateway ENDPOINT SPOOL_DIRECTORY".into());
    };
    let clock = Arc::new(WallClock::default());
    let mut config = Config::new(endpoint, Id::new("yard-1")?);
    config.spool = Some(SpoolConfig { dir: dir.into(), max_bytes: 64 << 20 });
    let gateway = Gateway::connect_with(config, clock.clone(), Arc::new(tell)).await?;
    let unit = Id::new("TR-0042")?;
    let state = State { power: Power::On, ..State::default() };
    for _ in 0..5 {
        gateway.push(&unit, &reading(clock.now_ms(), state, read_sensors()?)).await?;
        tokio::time::sleep(Duration::from_secs(1)).await;
    }
    println!("{:?}", gateway.finish().await?);
    Ok(())
}
