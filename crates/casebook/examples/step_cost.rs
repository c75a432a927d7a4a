//! What a step of a thousand units costs, and what reading costs beside it.
//!
//! `cargo run --release -p rimeline-casebook --example step_cost [units] [folder]`
#![allow(clippy::print_stdout)]

use std::fs::File;
use std::io::{Seek, SeekFrom, Write};
use std::path::Path;
use std::time::{Duration, Instant};

use rimeline_casebook::{
    Action, ActionKind, CaseFilter, Casebook, LastValue, Options, Seen, SqliteCasebook, Step, UnitSignal,
};
use rimeline_channels::{Channel, Id, State, Value};
use rimeline_detector::{Condition, Evidence, Judgement, Series, Signal, Standing, Verdict};

const START: i64 = 1_767_571_200_000;
const STEPS: u64 = 30;

type Done = Result<(), Box<dyn std::error::Error>>;

fn main() -> Done {
    let mut arguments = std::env::args().skip(1);
    let units = arguments.next().map_or(Ok(1_000), |text| text.parse())?;
    let folder = match arguments.next() {
        Some(folder) => tempfile::tempdir_in(folder)?,
        None => tempfile::tempdir()?,
    };
    let names: Vec<Id> = (0..units).map(|n| Id::new(&format!("TR-{n:06}"))).collect::<Result<_, _>>()?;
    let book = SqliteCasebook::open(&folder.path().join("casebook.db"), Options::new(1))?;
    report("a bare sync of 4 KiB, for comparison", &syncs(folder.path())?);

    let mut bare = Vec::new();
    let mut full = Vec::new();
    for n in 0..STEPS {
        let now = START + n as i64 * 60_000;
        let mut step = Step::new("assess", Some(2 * n + 1), now);
        step.checkpoints = names.iter().map(|unit| (unit.clone(), vec![n as u8; 3_072])).collect();
        bare.push(timed(|| book.commit(&step))?);
        step.position = Some(2 * n + 2);
        step.seen = names.iter().map(|unit| seen(unit, now)).collect();
        step.judgements = names.iter().map(|unit| (unit.clone(), judgements())).collect();
        full.push(timed(|| book.commit(&step))?);
    }
    report(&format!("step: {units} checkpoints of 3 KiB"), &bare);
    report(&format!("step: {units} checkpoints, last values of 33 channels and 11 judgements"), &full);

    let mut opening = Vec::new();
    for n in 0..STEPS {
        let mut step = Step::new("assess", Some(1_000 + n), START);
        let condition = Condition::ALL[n as usize % Condition::ALL.len()];
        let place = n as usize / Condition::ALL.len();
        step.signals = names.iter().skip(place).step_by(10).map(|unit| signal(unit, condition)).collect();
        opening.push(timed(|| book.commit(&step))?);
    }
    report(&format!("step: {} cases open", units / 10), &opening);

    let mut listing = Vec::new();
    let mut acting = Vec::new();
    let snapshot = book.cases(&CaseFilter::default(), START)?;
    let note = Action {
        by: "night desk".into(),
        at: 0,
        kind: ActionKind::Note,
        text: "called the driver".into(),
        until: None,
    };
    for n in 0..STEPS {
        listing.push(timed(|| book.cases(&CaseFilter::default(), START))?);
        let case = &snapshot.cases[n as usize % snapshot.cases.len()];
        acting.push(timed(|| book.record_action(&case.case_id, &note, START))?);
    }
    report(&format!("the ranked list of {} cases", snapshot.cases.len()), &listing);
    report("a person's entry", &acting);
    let began = Instant::now();
    let list = book.week(START, START + 7 * 86_400_000, None)?.list();
    report(&format!("the weekly list with {} items", list.items.len()), &[began.elapsed()]);
    let began = Instant::now();
    let mut bytes = 0;
    book.visit_checkpoints(&mut |_, state| bytes += state.len())?;
    report(&format!("reading {} MB of checkpoints", bytes / 1_000_000), &[began.elapsed()]);
    let size = std::fs::metadata(folder.path().join("casebook.db"))?.len();
    println!("{:>60}: {:.1} MB", "the file", size as f64 / 1e6);
    Ok(())
}

fn seen(unit: &Id, now: i64) -> Seen {
    let values =
        Channel::ALL.iter().map(|&channel| LastValue::new(channel, Value::Number(2_345), now)).collect();
    Seen {
        unit: unit.clone(),
        last_reading: now,
        rows: 1,
        not_assessed: 0,
        last_values: values,
        last_state: State::default(),
    }
}

fn judgements() -> Vec<Judgement> {
    let judgement = |condition| Judgement {
        condition,
        verdict: Verdict::Learning,
        reason: "12 of 21 days learned".to_owned(),
        able_to_decide: 0.63,
    };
    Condition::ALL.into_iter().map(judgement).collect()
}

fn signal(unit: &Id, condition: Condition) -> UnitSignal {
    let series = |name: &str| Series {
        name: name.to_owned(),
        unit_of_measure: "K".to_owned(),
        times: (0..28).map(|day| START - day * 86_400_000).collect(),
        values: (0..28).map(|day| 12.3 + f64::from(day) / 7.0).collect(),
    };
    let evidence = Evidence {
        statements: vec!["6.1 K above the mean of 28 days.".to_owned()],
        series: vec![series("level"), series("ambient")],
        ..Evidence::default()
    };
    let signal = Signal {
        condition,
        channel: None,
        standing: Standing::Open,
        at: START,
        onset: START - 86_400_000,
        strength: 1.2,
        confidence: 0.8,
        hours_to_harm: None,
        headline: "6 K above what it was".to_owned(),
        evidence,
    };
    UnitSignal { unit: unit.clone(), signal, late: false }
}

fn timed<T, E: std::error::Error + 'static>(work: impl FnOnce() -> Result<T, E>) -> Result<Duration, E> {
    let began = Instant::now();
    work()?;
    Ok(began.elapsed())
}

/// The disk's own price: one page written and synced.
fn syncs(folder: &Path) -> std::io::Result<Vec<Duration>> {
    let mut file = File::create(folder.join("bare"))?;
    let mut times = Vec::new();
    for _ in 0..STEPS {
        let began = Instant::now();
        file.seek(SeekFrom::Start(0))?;
        file.write_all(&[7; 4_096])?;
        file.sync_data()?;
        times.push(began.elapsed());
    }
    Ok(times)
}

fn report(what: &str, times: &[Duration]) {
    let mut sorted = times.to_vec();
    sorted.sort_unstable();
    let ms = |duration: Duration| duration.as_secs_f64() * 1e3;
    let (median, worst) = (ms(sorted[sorted.len() / 2]), ms(sorted[sorted.len() - 1]));
    println!("{what:>60}: median {median:8.2} ms, worst {worst:8.2} ms");
}
