//! Checks the `[state]` section.

use rimeline_channels::State;

use crate::{
    compile::Compiler,
    expression,
    state::{Case, Listed, Part, StateRule, Word},
    state_source::{StateSource, StateSources},
};

/// Constants go into `base`; the rest becomes rules.
pub(crate) fn states(compiler: &mut Compiler, sources: &StateSources, base: &mut State) -> Vec<StateRule> {
    let parts = [
        (Part::Power, &sources.power),
        (Part::Drive, &sources.drive),
        (Part::RunningMode, &sources.running_mode),
        (Part::Stage, &sources.stage),
        (Part::Door, &sources.door),
        (Part::Compressor, &sources.compressor),
        (Part::DefrostOrigin, &sources.defrost_origin),
        (Part::DefrostEnd, &sources.defrost_end),
    ];
    let mut rules = Vec::new();
    for (part, source) in parts {
        match source {
            None => {}
            Some(StateSource::Constant(name)) => {
                if let Some(word) = word(compiler, part, name) {
                    word.apply(base);
                }
            }
            Some(StateSource::Column { column, values, otherwise }) => {
                let column = compiler.column(column);
                let otherwise = otherwise.as_ref().and_then(|name| word(compiler, part, name));
                let mut listed = Vec::with_capacity(values.len());
                for (text, name) in values {
                    if let Some(word) = word(compiler, part, name) {
                        let text = text.trim();
                        listed.push(Listed { text: text.to_owned(), number: text.parse().ok(), word });
                    }
                }
                rules.push(StateRule::Column { part, column, values: listed, otherwise });
            }
            Some(StateSource::Conditions(conditions)) => {
                let mut cases = Vec::with_capacity(conditions.len());
                for (name, text) in conditions {
                    let word = word(compiler, part, name);
                    match expression::parse(text) {
                        Ok(comparisons) => {
                            let all = comparisons
                                .iter()
                                .map(|c| (compiler.column(&c.column), c.operator, c.number));
                            let all = all.collect();
                            cases.extend(word.map(|word| Case { word, all }));
                        }
                        Err(fault) => compiler.fault(&format!("[state] {}", part.name()), fault),
                    }
                }
                let words = part.words();
                // Where several conditions hold, the word that stands first in the vocabulary counts.
                cases.sort_by_key(|case| words.iter().position(|word| *word == case.word));
                rules.push(StateRule::Conditions { otherwise: the_other(&words, &cases), cases });
            }
        }
    }
    for (outputs, source) in [(false, &sources.inputs), (true, &sources.outputs)] {
        if let Some(source) = source {
            rules.push(StateRule::Bits { outputs, column: compiler.column(&source.column) });
        }
    }
    rules
}

/// A part with two words is the other one where the condition for the one does not hold.
fn the_other(words: &[Word], cases: &[Case]) -> Option<Word> {
    match (words, cases) {
        ([first, second], [case]) => Some(if case.word == *first { *second } else { *first }),
        _ => None,
    }
}

fn word(compiler: &mut Compiler, part: Part, name: &str) -> Option<Word> {
    match part.word(name) {
        Ok(word) => Some(word),
        Err(error) => {
            compiler.fault(&format!("[state] {}", part.name()), error.to_string());
            None
        }
    }
}
