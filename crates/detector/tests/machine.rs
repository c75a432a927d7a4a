//! Findings on the machine: what they carry, what takes them away, and what similar units are for.
#![allow(clippy::unwrap_used)]

mod common;

use common::{Played, Watched};
use rimeline_channels::DAY_MS;
use rimeline_detector::{Condition, Evidence, Signal, Standing, Verdict};
use rimeline_fleet_model::{Course, Fault, FaultKind, HeatWave, Scenario, Service, UnitChoice};

fn frozen(units: u32, seed: u64) -> Scenario {
    let mut scenario = Scenario::small(units, 56, seed);
    scenario.depots[0].mean_c = 24.0;
    (0..units).fold(scenario, |scenario, unit| {
        scenario.with_choice(UnitChoice {
            unit,
            service: Some(Service::FrozenLongHaul),
            twins: Some(true),
            pressures: Some(true),
            ..UnitChoice::default()
        })
    })
}

fn fault(kind: FaultKind, course: Course, repaired_day: Option<f64>) -> Fault {
    Fault { unit: 0, kind, channel: None, onset_day: 28.0, course, breakdown_day: None, repaired_day }
}

fn clogging() -> Played {
    let course = Course::Ramp { peak: 1.0, days: 30.0 };
    common::play(&frozen(1, 8).with_fault(fault(FaultKind::CondenserFouling, course, None)))
}

fn opened(unit: &Watched, condition: Condition) -> Vec<&Signal> {
    unit.opened().into_iter().filter(|s| s.condition == condition).collect()
}

fn says(evidence: &Evidence, words: &str) -> bool {
    evidence.statements.iter().any(|s| s.contains(words))
}

#[test]
fn a_clogging_condenser_is_said_with_series_levels_ambient_of_the_cut_out_and_a_forecast() {
    let played = clogging();
    let signals = opened(&played.units[0], Condition::RisingDischargePressure);
    let signal = signals.last().unwrap();
    let evidence = &signal.evidence;
    assert!(says(evidence, "Cuts out above ambient"), "{}", common::told(signal));
    assert!(says(evidence, "normal was learned from 21 days"), "{}", common::told(signal));
    let series = &evidence.series[0];
    assert_eq!(series.unit_of_measure, "K");
    assert!(series.times.len() >= 10 && series.times.len() == series.values.len());
    assert!(series.times.windows(2).all(|w| w[0] < w[1]));
    assert!(evidence.limits.iter().any(|l| l.name.contains("cuts out")), "{:?}", evidence.limits);
    let (days, early) = (evidence.days_to_limit.unwrap(), evidence.days_to_limit_early.unwrap());
    assert!(early <= days && evidence.days_to_limit_late.is_none_or(|late| late >= days));
    assert!(signal.hours_to_harm.is_some());
    assert!(signal.confidence > 0.5 && signal.confidence <= 0.95);
    // The onset is not before the fault began, not after it was said, and the same in every signal of the case.
    let began = played.model.truth()[0].onset_ms;
    assert!(signals[0].onset >= began - DAY_MS && signals[0].onset < signals[0].at);
    assert!(signals.iter().all(|s| s.onset == signals[0].onset));
}

#[test]
fn a_standing_finding_is_cured_by_a_repair_or_closed_and_learned_anew_by_a_person() {
    let course = Course::Step(0.8);
    let played = common::play(&frozen(1, 8).with_fault(fault(FaultKind::CompressorWear, course, Some(40.0))));
    let weak: Vec<&Signal> =
        played.units[0].signals.iter().filter(|s| s.condition == Condition::WeakCooling).collect();
    assert!(weak.iter().any(|s| s.standing == Standing::Escalated), "{:#?}", played.units[0].told());
    assert_eq!(weak.last().unwrap().standing, Standing::Clear, "{:#?}", played.units[0].told());

    let mut unit = clogging().units.swap_remove(0);
    let verdict = |unit: &Watched| {
        let judgements = unit.state.judgements(&unit.setup, &unit.config);
        judgements[Condition::RisingDischargePressure as usize - 1].clone()
    };
    assert_eq!(verdict(&unit).verdict, Verdict::Flagged);
    unit.state.serviced(Condition::RisingDischargePressure, None, 0);
    let after = verdict(&unit);
    assert_eq!(after.verdict, Verdict::Learning, "{after:?}");
    assert!(after.reason.starts_with("0 of 21 days"), "{after:?}");
}

/// Twenty healthy units of one family in a heat wave of 12 K, and one of them with a failing condenser fan.
#[test]
fn a_heat_wave_lifts_all_and_raises_nobody_but_the_unit_that_is_truly_worse() {
    let mut scenario = frozen(20, 9).with_fault(fault(FaultKind::CondenserFan, Course::Step(0.5), None));
    scenario.depots[0].heat_waves.push(HeatWave { from_day: 33.0, days: 10.0, above_k: 12.0 });
    let mut played = common::play(&scenario);
    for unit in &mut played.units[1..] {
        assert!(opened(unit, Condition::RisingDischargePressure).is_empty(), "{:#?}", unit.told());
    }
    let first = opened(&played.units[0], Condition::RisingDischargePressure)[0].clone();
    assert!(first.at < scenario.day_ms(28.0) + 10 * DAY_MS, "{}", common::told(&first));
}

#[test]
fn able_to_decide_is_a_share_and_grows_with_what_could_be_judged() {
    let played = clogging();
    let unit = &played.units[0];
    for judgement in unit.state.judgements(&unit.setup, &unit.config) {
        assert!((0.0..=1.0).contains(&judgement.able_to_decide), "{judgement:?}");
        let decided = judgement.able_to_decide > 0.0;
        match judgement.verdict {
            Verdict::Quiet | Verdict::Flagged => assert!(decided, "{judgement:?}"),
            Verdict::Learning | Verdict::Abstains => {}
        }
    }
}
