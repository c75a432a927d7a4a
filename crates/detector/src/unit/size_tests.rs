//! How large a state can become.

use rimeline_channels::{
    Absence, Channel, Compressor, DAY_MS, Door, Drive, MINUTE_MS, Power, Reading, RunningMode, Stage, State,
    Value,
};
use rimeline_refrigerant::{PressureReference, Refrigerant};
use serde::Serialize;

use super::UnitState;
use crate::{Config, Fleet, Output, UnitSetup};

const START: i64 = 20_000 * DAY_MS;
const CADENCE: i64 = 5;
/// Days until two classes have learned all but one day of the longest baseline.
const LAST: i64 = 139;

fn size(part: &impl Serialize) -> usize {
    postcard::to_allocvec(part).map_or(0, |bytes| bytes.len())
}

fn setup() -> UnitSetup {
    UnitSetup {
        refrigerant: Some(Refrigerant::R452A),
        pressure_reference: Some(PressureReference::SealedGauge),
        family: "tandem".to_owned(),
        fitted: Channel::ALL.to_vec(),
        ..UnitSetup::default()
    }
}

/// A day of which every sort of test takes something: pull-down, cycling, defrost, doors, an off period. `kind` picks
/// one of three mode classes.
fn state_at(minute: i64, kind: i64) -> State {
    let base = State {
        power: Power::On,
        drive: if kind == 1 { Drive::Shore } else { Drive::Engine },
        running_mode: RunningMode::StartStop,
        stage: if kind == 2 { Stage::CoolingLow } else { Stage::CoolingHigh },
        compressor: Compressor::Running,
        door: Door::Closed,
        ..State::default()
    };
    let stopped = State { stage: Stage::Satisfied, compressor: Compressor::Stopped, ..base };
    match minute {
        0..180 => State { power: Power::Off, stage: Stage::Unknown, compressor: Compressor::Stopped, ..base },
        600..620 => State { stage: Stage::Defrosting, ..base },
        700..710 => State { door: Door::Open, ..stopped },
        900.. if minute % 60 >= 40 => stopped,
        _ => base,
    }
}

fn reading(day: i64, minute: i64, wobble: f64) -> Reading {
    // One class is learned and judged; two more are still learning at the end.
    let kind = if day < 60 { 0 } else { day % 3 };
    let state = state_at(minute, kind);
    let mut reading = Reading::new(START + day * DAY_MS + minute * MINUTE_MS, state);
    let running = state.compressor == Compressor::Running;
    let since_start = (minute - 180).max(0) as f64;
    // Faults grow late, when every baseline stands and every history is full.
    let fault = (day - LAST + 19).max(0) as f64;
    let ret = -18.0 + 38.0 * (-since_start / 60.0).exp() + wobble;
    let td = if running { 6.0 } else { 0.0 } - 0.1 * fault;
    let ambient = 25.0 + 8.0 * (minute as f64 / 230.0).sin();
    for (channel, quantity) in [
        (Channel::ReturnAirControl, ret),
        (Channel::ReturnAirCheck, ret + 0.3 + 0.1 * fault),
        (Channel::SupplyAirControl, ret - td),
        (Channel::SupplyAirCheck, ret - td - 0.2 - 0.1 * fault),
        (Channel::AmbientAir, ambient),
        (Channel::Coil, ret - td - 1.0),
        (Channel::SetPoint, -18.0),
        (
            Channel::DischargePressure,
            if running { 900.0 + 40.0 * ambient + 60.0 * fault } else { 700.0 + 20.0 * fault },
        ),
        (Channel::SuctionThrottle, 100.0),
        (Channel::SuctionPressure, if running { 150.0 } else { 700.0 }),
        (Channel::CompressorStarts, (1_000_000 + day * 7 + minute / 60) as f64),
    ] {
        reading.set_quantity(channel, quantity);
    }
    for channel in Channel::ALL {
        if reading.fixed(*channel).is_none() {
            reading.set_quantity(*channel, 12.0 + wobble);
        }
    }
    reading
}

fn populated() -> (UnitState, UnitSetup) {
    let (mut unit, mut fleet, mut out) = (UnitState::new(), Fleet::new(), Output::default());
    let (setup, mut config) = (setup(), Config::default());
    config.baseline.days = 28;
    config.pull_down.episodes = 28;
    let sensors: Vec<Channel> = Channel::ALL
        .iter()
        .copied()
        .filter(|c| crate::conditions::out_of_range::sensors() & c.bit() != 0)
        .collect();
    for day in 0..=LAST {
        for minute in (0..1440).step_by(CADENCE as usize) {
            let step = (day * 1440 + minute) / CADENCE;
            let wobble = 0.1 * (step * 7919 % 5) as f64;
            let mut reading = reading(day, minute, wobble);
            // Late in the run every sensor jumps in turn, and then fails or is left out.
            let jumper = sensors[step as usize % sensors.len()];
            if day >= LAST - 13 && step % 5 == 0 {
                let jump = if reading.quantity(jumper).is_some_and(|q| q > 300.0) { 900.0 } else { 25.0 };
                reading.set_quantity(jumper, reading.quantity(jumper).map_or(0.0, |q| q + jump));
            }
            if day == LAST {
                for (i, channel) in sensors.iter().enumerate() {
                    let how = if i % 3 == 2 { Absence::NotReported } else { Absence::FailedOpen };
                    if minute > 600 || i % 3 == 0 && minute % 40 == 0 {
                        reading.set(*channel, Value::Absent(how));
                    }
                }
            }
            unit.observe(&reading, &setup, &config, &mut fleet, &mut out);
            out.clear();
        }
    }
    (unit, setup)
}

#[test]
#[allow(clippy::print_stdout)]
fn a_state_in_which_everything_happened_is_at_most_4_kib() {
    let (unit, _) = populated();
    let bytes = unit.to_bytes().len();
    println!(
        "state {bytes} B: regime {}, pasts {}, able {}, range {}, missing {}, spiking {}, stuck {}, noisy {}, twins {}, \
         offset {}, cooling {}, pull-down {}, cycling {}, discharge {}, silence {}; in memory {} B and lists",
        size(&unit.regime),
        size(&unit.pasts),
        size(&unit.able),
        size(&unit.out_of_range),
        size(&unit.missing),
        size(&unit.spiking),
        size(&unit.stuck),
        size(&unit.noisy),
        size(&unit.twins),
        size(&unit.offset),
        size(&unit.weak_cooling),
        size(&unit.pull_down),
        size(&unit.cycling),
        size(&unit.discharge),
        size(&unit.silence),
        std::mem::size_of::<UnitState>(),
    );
    assert!((3_000..=4_096).contains(&bytes), "{bytes}");
}
