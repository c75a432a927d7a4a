//! How fast the model runs: `cargo run --release -p rimeline-fleet-model --example speed`.
#![allow(clippy::print_stdout)]

use std::time::Instant;

use rimeline_fleet_model::{Fleet, Scenario, ScenarioError};

fn main() -> Result<(), ScenarioError> {
    for scenario in [Scenario::small(60, 30, 1), Scenario::demo()] {
        let begun = Instant::now();
        let mut fleet = Fleet::new(&scenario)?;
        let built = begun.elapsed();
        let begun = Instant::now();
        let (mut readings, mut events) = (0u64, 0u64);
        while let Some(delivery) = fleet.next_delivery() {
            readings += 1;
            events += delivery.events.len() as u64;
        }
        let seconds = begun.elapsed().as_secs_f64();
        let rate = readings as f64 / seconds;
        println!(
            "{}: {} units, {} days: built in {:.3} s; {readings} readings, {events} events in {seconds:.2} s, {rate:.0} readings/s",
            scenario.name,
            scenario.units,
            scenario.days,
            built.as_secs_f64()
        );
    }
    Ok(())
}
