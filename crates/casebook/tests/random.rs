//! What holds whatever detectors say and people do.
#![allow(clippy::unwrap_used)]

mod common;

use std::collections::{BTreeMap, BTreeSet};

use common::{DAY, EPOCH, HOUR, MONDAY, act, feed_from, of, open, signal, start};
use proptest::prelude::*;
use rimeline_casebook::{
    ActionKind, Case, CaseFilter, CaseStage, Casebook, SAME_CASE_MS, SqliteCasebook, Step, UnitSignal,
};
use rimeline_channels::Channel;
use rimeline_detector::{Condition, Standing};

/// One thing that happens: a signal on one of few units, conditions and channels, or a service of the oldest case.
#[derive(Clone, Debug)]
enum Happens {
    Signal { unit: u8, stuck: bool, channel: Option<Channel>, standing: u8, confidence: f64 },
    Service,
}

fn happens() -> impl Strategy<Value = (i64, Happens)> {
    let channel = prop_oneof![Just(None), Just(Some(Channel::Coil))];
    let signal = (0..2u8, any::<bool>(), channel, 0..4u8, 0.0..2.0).prop_map(
        |(unit, stuck, channel, standing, confidence)| Happens::Signal {
            unit,
            stuck,
            channel,
            standing,
            confidence,
        },
    );
    // From minutes to more than the seven days that part one case from the next.
    (prop_oneof![4 => 1..24i64, 1 => 150..200i64], prop_oneof![9 => signal, 1 => Just(Happens::Service)])
}

/// Takes what happens, step by step of at most three, and the whole again from a point in the middle as a crash would.
fn live(book: &SqliteCasebook, story: &[(i64, Happens)], repeat_from: usize) {
    let mut now = MONDAY;
    let mut steps = Vec::new();
    for (position, part) in (1u64..).zip(story.chunks(3)) {
        let mut signals: Vec<UnitSignal> = Vec::new();
        let mut service = false;
        for (hours, what) in part {
            now += hours * HOUR;
            match what {
                Happens::Service => service = true,
                Happens::Signal { unit, stuck, channel, standing, confidence } => {
                    let condition = if *stuck { Condition::SensorStuck } else { Condition::SensorNoisy };
                    let standing = [Standing::Pending, Standing::Open, Standing::Escalated, Standing::Clear]
                        [usize::from(*standing)];
                    let mut said = signal(condition, standing, now);
                    (said.channel, said.onset, said.confidence) = (*channel, now - HOUR, *confidence);
                    signals.push(of(&format!("TR-{unit}"), said));
                }
            }
        }
        let mut step = Step { signals, ..Step::new("assess", Some(position), now) };
        if service {
            let standing = book.cases(&CaseFilter::default(), now).unwrap().cases;
            let oldest = standing.iter().min_by_key(|case| (case.raised, case.case_id.clone()));
            let mut action = act(ActionKind::Serviced, "");
            action.at = now;
            step.actions.extend(oldest.map(|case| (case.case_id.clone(), action)));
        }
        assert!(book.commit(&step).unwrap().refused.is_empty());
        steps.push(step);
    }
    for step in steps.iter().skip(repeat_from) {
        assert!(book.commit(step).unwrap().repeated);
    }
}

type Key = (String, Condition, Option<Channel>);

fn key(case: &Case) -> Key {
    (case.unit.to_string(), case.condition, case.channel)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn whatever_happens_the_casebook_keeps_its_promises(
        story in prop::collection::vec(happens(), 1..60),
        repeat_from in 0..20usize,
    ) {
        let folder = tempfile::tempdir().unwrap();
        let book = open(&folder);
        live(&book, &story, repeat_from);
        let feed = feed_from(&book, start());

        // Sequences grow by one from one.
        let sequences: Vec<u64> = feed.iter().map(|(sequence, _)| *sequence).collect();
        prop_assert_eq!(&sequences, &(1..=feed.len() as u64).collect::<Vec<_>>());

        // At every moment at most one case of a unit, condition and channel stands, and no case is first signs.
        let mut now: BTreeMap<String, Case> = BTreeMap::new();
        for (_, case) in &feed {
            prop_assert!(case.is_visible());
            prop_assert!((0.0..=0.95).contains(&case.confidence));
            prop_assert!(case.raised.is_some_and(|raised| raised >= case.onset));
            prop_assert_eq!(case.cleared.is_some(), case.stage == CaseStage::Closed);
            if let Some(before) = now.insert(case.case_id.clone(), case.clone()) {
                prop_assert_ne!(&before, case, "a change changes something");
                prop_assert_eq!((key(&before), before.onset, before.raised), (key(case), case.onset, case.raised));
                prop_assert!(before.serviced.is_none(), "nothing happens to a case after a service");
                prop_assert!(case.updated >= before.updated);
                let back = before.stage == CaseStage::Closed && case.stage != CaseStage::Closed;
                prop_assert_eq!(case.came_back, before.came_back + u32::from(back));
                if back {
                    prop_assert!(case.judged - before.cleared.unwrap() <= SAME_CASE_MS, "came back too late");
                }
            } else {
                prop_assert_eq!(case.came_back, 0);
            }
            let standing: Vec<Key> = now.values().filter(|case| case.stands()).map(key).collect();
            prop_assert_eq!(standing.iter().collect::<BTreeSet<_>>().len(), standing.len());
        }

        // The feed and the list tell the same.
        let all = CaseFilter { include_closed: true, include_shelved: true, ..CaseFilter::default() };
        let listed = book.cases(&all, MONDAY).unwrap();
        let listed: BTreeMap<String, Case> = listed.cases.into_iter().map(|case| (case.case_id.clone(), case)).collect();
        prop_assert_eq!(&listed, &now);

        // A case that came anew although one of its kind was there: a service or more than seven days lie between.
        let mut kinds: BTreeMap<Key, Vec<&Case>> = BTreeMap::new();
        for case in now.values() {
            kinds.entry(key(case)).or_default().push(case);
        }
        for mut cases in kinds.into_values() {
            cases.sort_by_key(|case| case.onset);
            for pair in cases.windows(2) {
                let gap = pair[1].raised.unwrap() - pair[0].cleared.unwrap();
                prop_assert!(pair[0].serviced.is_some() || gap > SAME_CASE_MS, "{} h", gap / HOUR);
            }
        }

        // The same story in another casebook, opened again and again, gives the same cases and the same feed.
        let other_folder = tempfile::tempdir().unwrap();
        live(&open(&other_folder), &story, 0);
        let other = open(&other_folder);
        prop_assert_eq!(feed_from(&other, start()), feed);
        prop_assert_eq!(other.cursor().unwrap().epoch, EPOCH);
        let week = |book: &SqliteCasebook| book.week(MONDAY, MONDAY + 7 * DAY, None).unwrap().list();
        prop_assert_eq!(week(&other), week(&book));
    }
}
