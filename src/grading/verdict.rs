//! The few words for the eye while and after a note sounds.

use super::{Attempt, Standing, counted_error};
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
    /// Went to a note that is no tone of the chord but of its scale. How far off it is stands in the figures.
    Scale,
    /// Went to a note outside of chord and scale.
    Outside,
}

impl Word {
    /// The verdict on a bend into a note that is no tone of the chord: however near to it, that is no landing.
    #[must_use]
    pub fn of_standing(standing: Option<Standing>) -> Option<Self> {
        match standing? {
            Standing::Chord => None,
            Standing::Scale => Some(Self::Scale),
            Standing::Outside => Some(Self::Outside),
        }
    }

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
            Self::Scale => f.write_str("scale"),
            Self::Outside => f.write_str("outside"),
            Self::Short(cents) => write!(f, "short {cents}"),
            Self::Over(cents) => write!(f, "over {cents}"),
            Self::Fell(cents) => write!(f, "fell {cents}"),
        }
    }
}

/// What may be said before the row is ready. Parts are added as they become known and never change afterwards.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Verdict {
    /// Said 150 ms after the arrival, or as soon as the bend is let down.
    pub arrival: Option<Word>,
    /// Said at the end of the hold, where it sank out of tune.
    pub hold: Option<Word>,
    /// Said when the release has landed, against the origin.
    pub release: Option<Word>,
}

impl Verdict {
    /// What is said when a bend has arrived `arrival_error` off its target, and then sank to `late_error` at the end of its hold.
    #[must_use]
    pub fn sank(arrival_error: f64, late_error: f64, tolerance: f64) -> Option<Word> {
        let fell = (arrival_error - late_error).round().min(999.0);
        (arrival_error.abs() <= tolerance && late_error < -tolerance && fell >= 1.0).then_some(Word::Fell(fell as u16))
    }

    /// The word on the bend: where it arrived, unless it arrived well and then sank.
    #[must_use]
    pub fn headline(&self) -> Option<Word> {
        match (self.arrival, self.hold) {
            (Some(Word::Landed) | None, Some(sank)) if sank != Word::Landed => Some(sank),
            (arrival, hold) => arrival.or(hold),
        }
    }

    /// The words on a row.
    #[must_use]
    pub fn of(row: &Attempt) -> Self {
        let (m, tolerance) = (&row.measures, row.tolerance_cents);
        let arrived = m.reached_error_cents().map(|error| counted_error(row.bend_cents, error));
        // From the middle of the hold's first 150 ms to the middle of its last.
        let late = arrived.zip(m.hold_drift_cents_per_s.zip(m.hold_s)).map(|(error, (drift, hold))| (error, error + drift * (hold - 0.15)));
        let elsewhere = Word::of_standing(row.standing);
        Self {
            arrival: arrived.map(|error| elsewhere.unwrap_or_else(|| Word::of_error(error, tolerance))),
            hold: late.filter(|_| elsewhere.is_none()).and_then(|(error, late)| Self::sank(error, late, tolerance)),
            // Home is where the fret is.
            release: m
                .release_error_cents
                .map(|error| Word::of_error(error - m.origin_error_cents.unwrap_or(0.0), row.release_tolerance_cents)),
        }
    }
}
