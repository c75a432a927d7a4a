//! The words of the casebook. Numbers are those of the public contract.

use serde::{Deserialize, Serialize};

macro_rules! words {
    ($(#[$meta:meta])* $name:ident { $($(#[$on:meta])* $number:literal $variant:ident $word:literal $doc:literal,)* }) => {
        $(#[$meta])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        #[serde(rename_all = "snake_case")]
        #[repr(u8)]
        pub enum $name { $($(#[$on])* #[doc = $doc] $variant = $number,)* }

        impl $name {
            /// Every word, in contract order.
            pub const ALL: &'static [Self] = &[$(Self::$variant,)*];

            /// Number in the public contract.
            pub fn number(self) -> i32 {
                self as i32
            }

            /// The word with this number in the public contract.
            pub fn from_number(number: i32) -> Option<Self> {
                Self::ALL.iter().copied().find(|word| word.number() == number)
            }

            /// The word used in files and on screens.
            pub fn name(self) -> &'static str {
                match self { $(Self::$variant => $word,)* }
            }

            /// The word with this name.
            pub fn from_name(name: &str) -> Option<Self> {
                Self::ALL.iter().copied().find(|word| word.name() == name)
            }
        }

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str(self.name())
            }
        }
    };
}

words! {
    /// How far a case has come.
    CaseStage {
        1 Pending "pending" "First signs; kept, and shown to nobody.",
        2 Open "open" "Raised.",
        3 Escalated "escalated" "Raised, and worse than when it opened by the condition's own act-now level.",
        4 Clearing "clearing" "Raised, and weaker than what it takes to open; not yet gone.",
        5 Closed "closed" "It no longer stands, or the unit was serviced.",
    }
}
words! {
    /// How much a case presses. The order of the words is the order of pressing.
    Priority {
        1 Low "low" "Plan it.",
        2 Medium "medium" "This shift, or the next visit to a workshop.",
        3 High "high" "Now.",
    }
}
words! {
    /// Whom a case is for.
    Desk {
        1 Night "night" "The dispatcher, now.",
        2 Weekly "weekly" "The maintenance planner's list.",
    }
}
words! {
    /// What a person did.
    ActionKind {
        1 Acknowledge "acknowledge" "Has seen it and takes it on.",
        2 Shelve "shelve" "Takes it off the ranked list until a given time.",
        3 Unshelve "unshelve" "Puts it back.",
        4 Note "note" "Writes something down.",
        5 HandOver "hand_over" "Passes it on: whoever took it on no longer has it.",
        6 Finding "finding" "What the workshop found.",
        7 Serviced "serviced" "The unit was repaired: the case closes, and what it was compared with is learned anew.",
    }
}
words! {
    /// What a unit carries, as far as harm goes.
    #[derive(Default)]
    CargoClass {
        #[default] 0 Unknown "unknown" "Nobody said.",
        1 Empty "empty" "Nothing.",
        2 Frozen "frozen" "Frozen goods.",
        3 Chilled "chilled" "Chilled goods.",
        4 FreshProduce "fresh_produce" "Fruit, vegetables, flowers.",
        5 Pharma "pharma" "Medicines.",
    }
}
words! {
    /// The kind of body a unit cools.
    #[derive(Default)]
    Body {
        #[default] 0 Unknown "unknown" "Nobody said.",
        1 SemiTrailer "semi_trailer" "A semi-trailer.",
        2 Rigid "rigid" "A rigid vehicle's body.",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_and_numbers_of_the_contract_lead_back_to_the_same_word() {
        for &class in CargoClass::ALL {
            assert_eq!(CargoClass::from_number(class.number()), Some(class));
            assert_eq!(CargoClass::from_name(class.name()), Some(class));
        }
        assert_eq!(CaseStage::from_number(0), None, "a case always has a stage");
        assert_eq!(CargoClass::from_number(6), None);
        assert_eq!(ActionKind::from_number(7), Some(ActionKind::Serviced));
        assert!(Priority::High > Priority::Low);
    }
}
