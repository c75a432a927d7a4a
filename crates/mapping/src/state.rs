//! Unit state from constants, enumerated columns and conditions.

use rimeline_channels::{
    Compressor, DefrostEnd, DefrostOrigin, Door, Drive, Power, RunningMode, Stage, State, UnknownState,
};

use crate::expression::Operator;

macro_rules! parts {
    ($($part:ident $type:ident $field:ident;)*) => {
        /// One part of a unit's state with its word.
        #[derive(Clone, Copy, Debug, PartialEq, Eq)]
        pub(crate) enum Word { $($part($type),)* }

        /// One part of a unit's state.
        #[derive(Clone, Copy, Debug, PartialEq, Eq)]
        pub(crate) enum Part { $($part,)* }

        impl Word {
            pub(crate) fn apply(self, state: &mut State) {
                match self { $(Word::$part(word) => state.$field = word,)* }
            }
        }

        impl Part {
            pub(crate) fn word(self, name: &str) -> Result<Word, UnknownState> {
                match self { $(Part::$part => $type::from_name(name).map(Word::$part),)* }
            }

            pub(crate) fn name(self) -> &'static str {
                match self { $(Part::$part => stringify!($field),)* }
            }

            /// Every known word of this part.
            pub(crate) fn words(self) -> Vec<Word> {
                match self { $(Part::$part => $type::ALL.iter().map(|word| Word::$part(*word)).collect(),)* }
            }
        }
    };
}

parts! {
    Power Power power;
    Drive Drive drive;
    RunningMode RunningMode running_mode;
    Stage Stage stage;
    Door Door door;
    Compressor Compressor compressor;
    DefrostOrigin DefrostOrigin defrost_origin;
    DefrostEnd DefrostEnd defrost_end;
}

/// How one part of the state comes about in a row. Columns are indices into the mapping's columns.
#[derive(Clone, Debug)]
pub(crate) enum StateRule {
    Column { part: Part, column: usize, values: Vec<Listed>, otherwise: Option<Word> },
    Conditions { cases: Vec<Case>, otherwise: Option<Word> },
    Bits { outputs: bool, column: usize },
}

/// A listed text of an enumerated column; a number also matches in another spelling (`1`, `1.0`).
#[derive(Clone, Debug)]
pub(crate) struct Listed {
    pub(crate) text: String,
    pub(crate) number: Option<f64>,
    pub(crate) word: Word,
}

/// A word and when it holds: all comparisons together.
#[derive(Clone, Debug)]
pub(crate) struct Case {
    pub(crate) word: Word,
    pub(crate) all: Vec<(usize, Operator, f64)>,
}

impl StateRule {
    /// The word for a text of an enumerated column.
    pub(crate) fn listed(values: &[Listed], text: &str) -> Option<Word> {
        if let Some(listed) = values.iter().find(|listed| listed.text == text) {
            return Some(listed.word);
        }
        let number: f64 = text.parse().ok()?;
        values.iter().find(|listed| listed.number == Some(number)).map(|listed| listed.word)
    }

    /// The word of the first case that holds. `None` where a case depends on a number that is absent.
    pub(crate) fn decide(
        cases: &[Case],
        otherwise: Option<Word>,
        mut number: impl FnMut(usize) -> Option<f64>,
    ) -> Option<Word> {
        for case in cases {
            let mut holds = true;
            for (column, operator, limit) in &case.all {
                holds &= operator.holds(number(*column)?, *limit);
            }
            if holds {
                return Some(case.word);
            }
        }
        otherwise
    }
}
