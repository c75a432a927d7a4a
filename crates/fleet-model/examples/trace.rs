//! Readings of one unit over some hours, as text: `... --example trace -- UNIT FROM_HOUR TO_HOUR [demo]`.
#![allow(clippy::print_stdout)]

use rimeline_channels::{Channel, HOUR_MS};
use rimeline_fleet_model::{Fleet, Scenario, ScenarioError};

fn main() -> Result<(), ScenarioError> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let number = |i: usize| args.get(i).and_then(|a| a.parse::<i64>().ok()).unwrap_or(0);
    let scenario =
        if args.iter().any(|a| a == "demo") { Scenario::demo() } else { Scenario::small(10, 40, 3) };
    let (from, to) = (scenario.start + number(1) * HOUR_MS, scenario.start + number(2) * HOUR_MS);
    let fleet = Fleet::new(&scenario)?;
    let unit = number(0) as usize;
    println!("{:?}", fleet.units().get(unit));
    let Some(mut stream) = fleet.into_streams().into_iter().nth(unit) else {
        return Ok(());
    };
    let shown = [
        Channel::SetPoint,
        Channel::ReturnAirControl,
        Channel::SupplyAirControl,
        Channel::Coil,
        Channel::CargoProbe1,
        Channel::AmbientAir,
        Channel::DischargePressure,
        Channel::SuctionPressure,
        Channel::SuctionThrottle,
        Channel::EngineSpeed,
        Channel::OilPressure,
        Channel::CoolantTemperature,
        Channel::BatteryVoltage,
        Channel::CompressorStarts,
    ];
    while let Some(delivery) = stream.next_delivery() {
        let r = delivery.reading;
        if r.time < from || r.time >= to {
            continue;
        }
        let hours = (r.time - scenario.start) as f64 / HOUR_MS as f64;
        print!(
            "{hours:8.3} {:4} {:16} {:6}",
            r.state.power.name(),
            r.state.stage.name(),
            r.state.door.name()
        );
        for channel in shown {
            print!(" {:7.1}", r.quantity(channel).unwrap_or(f64::NAN));
        }
        println!();
    }
    Ok(())
}
