use serde::{Deserialize, Serialize};

/// A refrigerant with a saturation table.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum Refrigerant {
    /// R-134a, a pure fluid.
    R134a,
    /// R-404A.
    R404A,
    /// R-410A.
    R410A,
    /// R-448A.
    R448A,
    /// R-449A.
    R449A,
    /// R-452A.
    R452A,
    /// R-744, carbon dioxide.
    R744,
}

impl Refrigerant {
    /// Every refrigerant with a table.
    pub const ALL: [Refrigerant; 7] =
        [Self::R134a, Self::R404A, Self::R410A, Self::R448A, Self::R449A, Self::R452A, Self::R744];

    /// Its designation as in ISO 817, such as `R-404A`.
    pub fn designation(self) -> &'static str {
        match self {
            Self::R134a => "R-134a",
            Self::R404A => "R-404A",
            Self::R410A => "R-410A",
            Self::R448A => "R-448A",
            Self::R449A => "R-449A",
            Self::R452A => "R-452A",
            Self::R744 => "R-744",
        }
    }

    /// The refrigerant so designated, with or without a hyphen, in upper or lower case.
    pub fn from_designation(text: &str) -> Option<Self> {
        let plain = |c: &u8| *c != b'-';
        Self::ALL.into_iter().find(|refrigerant| {
            let known = refrigerant.designation().bytes().filter(plain);
            known
                .map(|c| c.to_ascii_lowercase())
                .eq(text.bytes().filter(plain).map(|c| c.to_ascii_lowercase()))
        })
    }
}

impl std::fmt::Display for Refrigerant {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.designation())
    }
}
