//! The few words for the eye while and after a note sounds.

use std::fmt;

/// One verdict, at most eight characters.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Word {
    /// Within the tolerance of the target.
    Landed,
    /// So many cents under the target.
    Short(u16),
    /// So many cents over the target.
    Over(u16),
    /// Came to pitch and sank by so many cents during the hold.
    Fell(u16),
}

impl Word {
    /// The verdict on an error in cents: `landed` within the tolerance.
    #[must_use]
    pub fn of_error(error_cents: f64, tolerance_cents: f64) -> Self {
        let whole = error_cents.abs().round().min(999.0) as u16;
        if error_cents.abs() <= tolerance_cents {
            Self::Landed
        } else if error_cents < 0.0 {
            Self::Short(whole)
        } else {
            Self::Over(whole)
        }
    }
}

impl fmt::Display for Word {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Landed => f.write_str("landed"),
            Self::Short(cents) => write!(f, "short {cents}"),
            Self::Over(cents) => write!(f, "over {cents}"),
            Self::Fell(cents) => write!(f, "fell {cents}"),
        }
    }
}

/// What may be said before the row is ready. Parts are added as they become known and never change afterwards.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Verdict {
    /// Said 150 ms after the arrival.
    pub arrival: Option<Word>,
    /// Said at the end of the hold, where it sank out of tune.
    pub hold: Option<Word>,
    /// Said when the release has landed, against the origin.
    pub release: Option<Word>,
}
