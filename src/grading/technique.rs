//! The four gestures that make a row.

use std::fmt;

/// How the note was bent, as played.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Technique {
    /// Up, and held to the end of the note.
    Bend,
    /// Up, held, and let down.
    BendRelease,
    /// Bent before it was picked.
    PreBend,
    /// Bent before it was picked, and let down.
    PreBendRelease,
}

impl Technique {
    /// All of them, in the order of the documentation.
    pub const ALL: [Self; 4] = [Self::Bend, Self::BendRelease, Self::PreBend, Self::PreBendRelease];

    /// The word in the log.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Bend => "bend",
            Self::BendRelease => "bend-release",
            Self::PreBend => "pre-bend",
            Self::PreBendRelease => "pre-bend-release",
        }
    }

    /// Bent before the pick.
    #[must_use]
    pub fn is_pre_bend(self) -> bool {
        matches!(self, Self::PreBend | Self::PreBendRelease)
    }

    /// Let down again while it sounded.
    #[must_use]
    pub fn is_released(self) -> bool {
        matches!(self, Self::BendRelease | Self::PreBendRelease)
    }

    /// The gesture with and without these parts.
    #[must_use]
    pub fn of(pre_bend: bool, released: bool) -> Self {
        match (pre_bend, released) {
            (false, false) => Self::Bend,
            (false, true) => Self::BendRelease,
            (true, false) => Self::PreBend,
            (true, true) => Self::PreBendRelease,
        }
    }
}

impl fmt::Display for Technique {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

impl std::str::FromStr for Technique {
    type Err = String;

    fn from_str(word: &str) -> Result<Self, String> {
        Self::ALL
            .into_iter()
            .find(|technique| technique.word() == word)
            .ok_or_else(|| format!("no technique is called {word:?}; there are bend, bend-release, pre-bend and pre-bend-release"))
    }
}
