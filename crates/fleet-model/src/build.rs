//! Draws the units of a scenario.

use std::sync::Arc;

use rimeline_channels::Channel as C;
use rimeline_channels::{Channel, Drive, Id};

use crate::chance::Chance;
use crate::design::Design;
use crate::effects::Planned;
use crate::fault::{Fault, FaultKind, Truth};
use crate::fleet::UnitStream;
use crate::machine::Machine;
use crate::plan::Plan;
use crate::saturation::{PressureReference, Refrigerant};
use crate::scenario::{Scenario, ScenarioError, UnitChoice};
use crate::unit::{Body, Load, LookAlike, Service, Unit};
use crate::weather::Weather;

/// Streams of chance below this belong to depots.
const UNIT_STREAMS: u64 = 1 << 32;

/// Everything that is known of a fleet before it runs.
pub(crate) struct Built {
    pub(crate) units: Vec<Unit>,
    pub(crate) loads: Vec<Load>,
    pub(crate) truth: Vec<Truth>,
    pub(crate) streams: Vec<UnitStream>,
}

pub(crate) fn build(scenario: &Scenario) -> Result<Built, ScenarioError> {
    scenario.check()?;
    let weather: Vec<_> = scenario
        .depots
        .iter()
        .zip(0..)
        .map(|(d, i)| Arc::new(Weather::new(d, scenario.days, &mut Chance::new(scenario.seed, i))))
        .collect();
    let cadences = cadences(scenario);
    let mut built = Built { units: Vec::new(), loads: Vec::new(), truth: Vec::new(), streams: Vec::new() };
    for index in 0..scenario.units {
        let mut chance = Chance::new(scenario.seed, UNIT_STREAMS + u64::from(index));
        let depot_at = index as usize % scenario.depots.len();
        let Some(unit) = draw_unit(scenario, index, depot_at, cadences[index as usize], &mut chance) else {
            continue;
        };
        let depot = &scenario.depots[depot_at];
        let design = Design::new(&unit, &mut chance);
        let plan = Plan::new(&unit, depot, scenario, &mut chance);
        let faults: Vec<_> = scenario
            .faults
            .iter()
            .filter(|f| f.unit == index)
            .map(|fault| planned(scenario, fault, &plan.loads))
            .collect();
        built.truth.extend(faults.iter().map(|fault| truth(&unit, fault)));
        built.loads.extend(plan.loads);
        let weather = Arc::clone(&weather[depot_at]);
        let gaps = coverage_gaps(&unit, scenario.days, &mut chance);
        let machine =
            Machine::new(index, &unit, design, scenario.start, weather, plan.actions, faults, chance);
        built.streams.push(UnitStream::new(machine, unit.cadence_s, scenario.days, gaps));
        built.units.push(unit);
    }
    built.loads.sort_by_key(|l| l.from);
    Ok(built)
}

/// Cadences by largest remainder, so that the shares hold exactly for any number of units.
fn cadences(scenario: &Scenario) -> Vec<u32> {
    let total: f64 = scenario.cadences.iter().map(|c| c.share).sum();
    let mut owed = vec![0.0; scenario.cadences.len()];
    (0..scenario.units)
        .map(|_| {
            if total <= 0.0 {
                return 300;
            }
            for (owed, c) in owed.iter_mut().zip(&scenario.cadences) {
                *owed += c.share / total;
            }
            let most = (0..owed.len()).max_by(|&a, &b| owed[a].total_cmp(&owed[b])).unwrap_or(0);
            owed[most] -= 1.0;
            scenario.cadences[most].cadence_s
        })
        .collect()
}

fn draw_unit(
    scenario: &Scenario,
    index: u32,
    depot_at: usize,
    cadence_s: u32,
    chance: &mut Chance,
) -> Option<Unit> {
    let none = UnitChoice::default();
    let choice = scenario.choices.iter().find(|c| c.unit == index).unwrap_or(&none);
    let depot = &scenario.depots[depot_at];
    // The mix is a cycle, so that small fleets have it too.
    let cycle = [0, 2, 1, 3, 0, 2, 1, 4, 3, 0];
    let service = choice.service.unwrap_or(Service::ALL[cycle[index as usize % cycle.len()]]);
    let body = match service {
        Service::ChilledDelivery | Service::FrozenDelivery if chance.happens(0.5) => Body::RigidBody,
        _ => Body::SemiTrailer,
    };
    let generation = if chance.happens(0.6) { 'a' } else { 'b' };
    let refrigerant = choice.refrigerant.unwrap_or_else(|| {
        if service.frozen() || generation == 'a' {
            if generation == 'a' { Refrigerant::R452A } else { Refrigerant::R404A }
        } else if body == Body::RigidBody {
            Refrigerant::R134a
        } else {
            Refrigerant::R449A
        }
    });
    let pressure_reference = choice.pressure_reference.unwrap_or_else(|| {
        [PressureReference::SealedGauge, PressureReference::VentedGauge, PressureReference::Absolute]
            [chance.below(3)]
    });
    let resolution_k = choice.resolution_k.unwrap_or([0.1, 0.1, 0.1, 0.5, 0.5, 1.0][chance.below(6)]);
    let shore = choice.shore.unwrap_or_else(|| chance.happens(if service.delivery() { 0.6 } else { 0.35 }));
    let drives = if shore { vec![Drive::Engine, Drive::Shore] } else { vec![Drive::Engine] };
    let fluid_name = refrigerant.name().to_ascii_lowercase().replace('-', "");
    let body_name = if body == Body::SemiTrailer { "semi" } else { "rigid" };
    // A gauge switch opens at a gauge pressure; an absolute reference reads an atmosphere more.
    let cut_out = refrigerant.cut_out_gauge_kpa();
    let cut_out_kpa =
        if pressure_reference == PressureReference::Absolute { cut_out + 101.325 } else { cut_out };
    Some(Unit {
        id: Id::new(&format!("T-{:03}", index + 1)).ok()?,
        body,
        service,
        refrigerant,
        pressure_reference,
        altitude_m: depot.altitude_m,
        fitted: with_faulty(fitted(choice, service, shore, chance), scenario, index),
        drives,
        depot: depot.name.clone(),
        time_zone: depot.time_zone.clone(),
        family: format!("{body_name}-{fluid_name}-{generation}"),
        cadence_s: choice.cadence_s.unwrap_or(cadence_s),
        cut_out_kpa,
        resolution_k,
        look_alikes: choice.look_alikes.clone(),
    })
}

fn fitted(choice: &UnitChoice, service: Service, shore: bool, chance: &mut Chance) -> Vec<Channel> {
    let of = |channels: &[Channel], fitted: bool, out: &mut Vec<Channel>| {
        if fitted {
            out.extend_from_slice(channels);
        }
    };
    let mut all = vec![
        C::ReturnAirControl,
        C::SupplyAirControl,
        C::AmbientAir,
        C::SetPoint,
        C::CoolantTemperature,
        C::EngineSpeed,
        C::BatteryVoltage,
        C::EngineHours,
        C::SwitchedOnHours,
        C::CompressorStarts,
    ];
    let twins = choice.twins.unwrap_or_else(|| chance.happens(0.7));
    of(&[C::ReturnAirCheck, C::SupplyAirCheck], twins, &mut all);
    of(&[C::Coil], choice.twins.unwrap_or_else(|| chance.happens(0.85)), &mut all);
    let pressures = choice.pressures.unwrap_or_else(|| chance.happens(0.9));
    of(&[C::DischargePressure, C::SuctionPressure], pressures, &mut all);
    of(&[C::SuctionThrottle], !service.frozen() && chance.happens(0.7), &mut all);
    of(&[C::DischargeLine], chance.happens(0.4), &mut all);
    of(&[C::SuctionLine, C::LiquidLine], chance.happens(0.25), &mut all);
    let probes =
        [C::CargoProbe1, C::CargoProbe2, C::CargoProbe3, C::CargoProbe4, C::CargoProbe5, C::CargoProbe6];
    let least = if service == Service::Pharma { 3 } else { 1 };
    of(&probes[..least + chance.below(4)], true, &mut all);
    of(&[C::Controller], chance.happens(0.5), &mut all);
    of(&[C::CoolantLevel], chance.happens(0.5), &mut all);
    of(&[C::OilPressure, C::FuelLevel], chance.happens(0.9), &mut all);
    of(&[C::BatteryCurrent], chance.happens(0.5), &mut all);
    of(&[C::MotorCurrent, C::StandbyHours], shore, &mut all);
    all
}

/// A sensor that breaks is fitted, whatever chance says.
fn with_faulty(mut fitted: Vec<Channel>, scenario: &Scenario, unit: u32) -> Vec<Channel> {
    let broken = scenario.faults.iter().filter(|f| f.unit == unit).filter_map(|f| f.channel);
    fitted.extend(broken);
    fitted.sort_unstable();
    fitted.dedup();
    fitted
}

fn planned(scenario: &Scenario, fault: &Fault, loads: &[Load]) -> Planned {
    let mut onset = scenario.day_ms(fault.onset_day);
    if fault.kind == FaultKind::LeftOffAfterDefrost {
        // A slip needs a load to harm: the first moment that has one for hours before and after.
        let hours = 3 * rimeline_channels::HOUR_MS;
        if let Some(load) = loads.iter().find(|l| l.until - hours > onset && l.until - l.from > 2 * hours) {
            onset = onset.max(load.from + hours);
        }
    }
    Planned {
        kind: fault.kind,
        channel: fault.channel,
        course: fault.course,
        onset,
        breakdown: fault.breakdown_day.map(|d| scenario.day_ms(d)),
        repaired: fault.repaired_day.map(|d| scenario.day_ms(d)),
    }
}

fn truth(unit: &Unit, fault: &Planned) -> Truth {
    let service_now = fault.course.days_to_service().map(|d| fault.onset + (d * 86_400_000.0).round() as i64);
    Truth {
        unit: unit.id.clone(),
        kind: fault.kind,
        channel: fault.channel,
        onset_ms: fault.onset,
        service_now_ms: service_now.filter(|&s| fault.repaired.is_none_or(|r| s < r)),
        breakdown_ms: fault.breakdown,
        repaired_ms: fault.repaired,
        peak: fault.course.peak(),
    }
}

/// Stretches without coverage, seconds since the start, in order.
fn coverage_gaps(unit: &Unit, days: u32, chance: &mut Chance) -> Vec<(i64, i64)> {
    let often = unit.look_alikes.contains(&LookAlike::CoverageGaps);
    let mut gaps = Vec::new();
    for day in 0..i64::from(days) {
        if chance.happens(if often { 0.35 } else { 0.04 }) {
            let from = day * 86_400 + (chance.within(0.0, 14.0) * 3_600.0) as i64;
            let hours = if often { chance.within(1.5, 9.0) } else { chance.within(0.4, 1.5) };
            gaps.push((from, from + (hours * 3_600.0) as i64));
        }
    }
    gaps
}
