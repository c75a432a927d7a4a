/// Why an observation is set aside. A set of reasons.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub(crate) struct Masks(u16);

macro_rules! masks {
    ($($name:ident = $bit:literal, $words:literal;)*) => {
        impl Masks {
            $(pub(crate) const $name: Masks = Masks(1 << $bit);)*

            /// The reasons in words.
            pub(crate) fn words(self) -> impl Iterator<Item = &'static str> {
                [$((Masks::$name, $words),)*].into_iter().filter(move |(m, _)| self.any(*m)).map(|(_, w)| w)
            }
        }
    };
}

masks! {
    OFF = 0, "the unit is switched off";
    START_UP = 1, "the compressor has just started";
    DEFROST = 2, "a defrost is running or the box recovers from it";
    DOOR = 3, "the door is open or the box recovers from it";
    DOOR_GUESS = 4, "the door may be open: the return air rose while the unit ran";
    SET_POINT = 5, "the set point was changed";
    NOT_COOLING = 6, "the unit does not cool";
    MODULATED = 7, "the unit cools with part of its capacity";
    SELF_TEST = 8, "the unit tests itself";
    GAP = 9, "readings are missing";
    NO_STATE = 10, "the unit's state is not reported";
    RECENT = 11, "a door, a defrost or heating has just ended";
}

impl Masks {
    /// True where one of `other` is set.
    pub(crate) fn any(self, other: Masks) -> bool {
        self.0 & other.0 != 0
    }

    /// The reasons that are also in `other`.
    pub(crate) fn and(self, other: Masks) -> Masks {
        Masks(self.0 & other.0)
    }

    pub(crate) fn set(&mut self, other: Masks, on: bool) {
        if on {
            self.0 |= other.0;
        }
    }

    pub(crate) const fn or(self, other: Masks) -> Masks {
        Masks(self.0 | other.0)
    }
}

/// What has just changed. A set.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub(crate) struct Changes(u16);

impl Changes {
    pub(crate) const STARTED: Changes = Changes(1);
    pub(crate) const STOPPED: Changes = Changes(2);
    pub(crate) const DEFROST_BEGAN: Changes = Changes(4);
    pub(crate) const DEFROST_ENDED: Changes = Changes(8);
    pub(crate) const DOOR_OPENED: Changes = Changes(16);
    pub(crate) const DOOR_CLOSED: Changes = Changes(32);
    pub(crate) const SET_POINT: Changes = Changes(64);
    pub(crate) const MODE: Changes = Changes(128);
    pub(crate) const GAP: Changes = Changes(256);
    pub(crate) const SWITCHED_ON: Changes = Changes(512);
    pub(crate) const STAGE: Changes = Changes(1024);

    pub(crate) fn any(self, other: Changes) -> bool {
        self.0 & other.0 != 0
    }

    pub(crate) const fn or(self, other: Changes) -> Changes {
        Changes(self.0 | other.0)
    }

    pub(crate) fn add(&mut self, other: Changes) {
        self.0 |= other.0;
    }
}
