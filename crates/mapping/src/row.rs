//! One row of a file as a reading.

use std::collections::HashMap;

use rimeline_channels::{Id, Reading};

use crate::{
    Mapping, Problem, ProblemKind, Problems, Source, channel,
    mapping::UnitFrom,
    open_file::OpenFile,
    problem::shown,
    state::{Part, StateRule},
    time::{self, Told},
};

/// Turns rows into readings; keeps what lasts over all files.
pub(crate) struct Rower<'m> {
    mapping: &'m Mapping,
    pub(crate) units: Vec<Id>,
    /// By the text of the file, so that an id is made once.
    by_text: HashMap<String, u32>,
    by_id: HashMap<Id, u32>,
    pub(crate) problems: Problems,
    joined: String,
}

/// At the most this many different unit texts are remembered; beyond, each is worked out again.
const REMEMBERED: usize = 1 << 20;

impl<'m> Rower<'m> {
    pub(crate) fn new(mapping: &'m Mapping) -> Self {
        Self {
            mapping,
            units: Vec::new(),
            by_text: HashMap::new(),
            by_id: HashMap::new(),
            problems: Problems::default(),
            joined: String::new(),
        }
    }

    /// Fills `reading` from the file's current row. The unit's index; `None` where the row is left out.
    pub(crate) fn read(&mut self, file: &OpenFile, reading: &mut Reading) -> Option<u32> {
        let unit = self.unit(file)?;
        let time = self.time(file)?;
        reading.clear(time, self.mapping.state);
        for (channel, value) in &self.mapping.constants {
            reading.set(*channel, *value);
        }
        let comma = self.mapping.csv.decimal_comma;
        for rule in &self.mapping.channels {
            match rule.value(file.cell(rule.column), comma) {
                Ok(value) => reading.set(rule.channel, value),
                Err(kind) => self.value_problem(kind, file, rule.column),
            }
        }
        for rule in &self.mapping.states {
            self.state(rule, file, reading);
        }
        Some(unit)
    }

    fn unit(&mut self, file: &OpenFile) -> Option<u32> {
        let (text, column) = match &self.mapping.unit.from {
            UnitFrom::Fixed(id) => (std::borrow::Cow::Borrowed(id.as_str()), None),
            UnitFrom::FileName => (Source::stem(&file.name).into(), None),
            UnitFrom::Column(column) => (file.cell(*column).text().unwrap_or_default(), Some(*column)),
        };
        if let Some(known) = self.by_text.get(text.as_ref()) {
            return Some(*known);
        }
        match self.mapping.unit.id(&text) {
            Ok(id) => {
                let at = *self.by_id.entry(id).or_insert_with_key(|id| {
                    self.units.push(id.clone());
                    (self.units.len() - 1) as u32
                });
                if self.by_text.len() < REMEMBERED {
                    self.by_text.insert(text.into_owned(), at);
                }
                Some(at)
            }
            Err(error) => {
                let kind = ProblemKind::BadUnit;
                self.problems.add(kind, || {
                    let advice = format!("{error}; `prefix` and `replace` in [unit] can make it one.");
                    problem(kind, file, column.map(|c| &*self.mapping.columns[c]), shown(&text), advice)
                });
                None
            }
        }
    }

    fn time(&mut self, file: &OpenFile) -> Option<i64> {
        let columns = &self.mapping.time_columns;
        let told = match columns.as_slice() {
            [column] => self.mapping.time.read(file.cell(*column)),
            columns => {
                time::join(columns.iter().map(|column| file.cell(*column)), &mut self.joined);
                self.mapping.time.read_text(&self.joined)
            }
        };
        let (kind, time, advice) = match told {
            Told::At(time) => return Some(time),
            Told::Twice(time) => (
                ProblemKind::AmbiguousTime,
                Some(time),
                "Taken with the offset that held before the change; use a column in UTC where there is one."
                    .to_owned(),
            ),
            Told::Never(time) => (
                ProblemKind::SkippedTime,
                Some(time),
                "Taken with the offset that held before the change; is `zone` in [time] right?".to_owned(),
            ),
            Told::Bad(why) => (ProblemKind::BadTime, None, format!("Check `format` in [time]: {why}.")),
        };
        self.problems.add(kind, || {
            let texts: Vec<_> = columns.iter().map(|c| file.cell(*c).text().unwrap_or_default()).collect();
            let names: Vec<_> = columns.iter().map(|c| &*self.mapping.columns[*c]).collect();
            problem(kind, file, Some(&names.join(" ")), shown(&texts.join(" ")), advice)
        });
        time
    }

    fn state(&mut self, rule: &StateRule, file: &OpenFile, reading: &mut Reading) {
        match rule {
            StateRule::Column { part, column, values, otherwise } => {
                let text = file.cell(*column).text().unwrap_or_default();
                match StateRule::listed(values, &text) {
                    Some(word) => word.apply(&mut reading.state),
                    None if text.is_empty() || self.mapping.absent.text(&text).is_some() => {}
                    None => match otherwise {
                        Some(word) => word.apply(&mut reading.state),
                        None => self.word_problem(*part, file, *column, &text),
                    },
                }
            }
            StateRule::Conditions { cases, otherwise } => {
                let word = StateRule::decide(cases, *otherwise, |column| self.number(file, column));
                if let Some(word) = word {
                    word.apply(&mut reading.state);
                }
            }
            StateRule::Bits { outputs, column } => {
                if let Some(number) = self.number(file, *column) {
                    if number.fract() == 0.0 && (0.0..=255.0).contains(&number) {
                        let bits = number as u8;
                        *(if *outputs { &mut reading.state.outputs } else { &mut reading.state.inputs }) =
                            bits;
                    } else {
                        self.value_problem(ProblemKind::OutOfRange, file, *column);
                    }
                }
            }
        }
    }

    /// A column's number for a condition.
    fn number(&mut self, file: &OpenFile, column: usize) -> Option<f64> {
        match channel::number(file.cell(column), &self.mapping.absent, self.mapping.csv.decimal_comma) {
            Ok(number) => number.ok(),
            Err(kind) => {
                self.value_problem(kind, file, column);
                None
            }
        }
    }

    fn word_problem(&mut self, part: Part, file: &OpenFile, column: usize, text: &str) {
        let kind = ProblemKind::UnknownWord;
        self.problems.add(kind, || {
            let advice = format!("Add it to `values` of [state] {}, or give `otherwise`.", part.name());
            problem(kind, file, Some(&self.mapping.columns[column]), shown(text), advice)
        });
    }

    fn value_problem(&mut self, kind: ProblemKind, file: &OpenFile, column: usize) {
        self.problems.add(kind, || {
            let advice = match kind {
                ProblemKind::NotUtf8 => "Set `encoding = \"latin-1\"` in [csv], or save the file as UTF-8.",
                ProblemKind::OutOfRange => "Check `unit`, `scale` and `offset`; inputs and outputs are 0 to 255.",
                ProblemKind::NotFinite => "Where it stands for \"no number\", list it in `absent`.",
                _ => "Where it stands for \"no number\", list it in `absent`; \"1,5\" needs `decimal_comma = true`.",
            };
            let text = file.cell(column).text().unwrap_or_default();
            problem(kind, file, Some(&self.mapping.columns[column]), shown(&text), advice.to_owned())
        });
    }
}

fn problem(
    kind: ProblemKind,
    file: &OpenFile,
    column: Option<&str>,
    found: String,
    advice: String,
) -> Problem {
    Problem {
        kind,
        file: file.name.clone(),
        place: file.place(),
        column: column.map(str::to_owned),
        found,
        advice,
    }
}
