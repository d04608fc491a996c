//! What can be wrong with a word of theory.

/// A word that cannot be read, with what to write instead. Every variant names the word that was found.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum TheoryError {
    /// Not a note name.
    #[error("'{found}' is not a note: write a letter A to G, then # or b, then an octave where one is wanted (Bb, F#4){hint}")]
    Note {
        /// As written.
        found: String,
        /// ` (…)`, or empty.
        hint: String,
    },
    /// Not an interval.
    #[error("'{found}' is not an interval: write P, M, m, A or d and a number (P5, m3, A4)")]
    Interval {
        /// As written.
        found: String,
    },
    /// Not a degree.
    #[error("'{found}' is not a degree: write 1 to 13 with b or # before it (b3, 5, #11)")]
    Degree {
        /// As written.
        found: String,
    },
    /// Not a chord symbol.
    #[error("'{found}' is not a chord symbol: {reason}{hint}")]
    Chord {
        /// As written.
        found: String,
        /// What is wrong with it.
        reason: String,
        /// `; did you mean …?`, or empty.
        hint: String,
    },
    /// Not a scale.
    #[error("'{found}' is not a scale: {reason}{hint}")]
    Scale {
        /// As written.
        found: String,
        /// What is wrong with it.
        reason: String,
        /// `; did you mean …?`, or empty.
        hint: String,
    },
    /// Not a key.
    #[error("'{found}' is not a key: {reason}{hint}")]
    Key {
        /// As written.
        found: String,
        /// What is wrong with it.
        reason: String,
        /// `; did you mean …?`, or empty.
        hint: String,
    },
    /// Not a tuning.
    #[error("'{found}' is not a tuning: {reason}{hint}")]
    Tuning {
        /// As written.
        found: String,
        /// What is wrong with it.
        reason: String,
        /// `; did you mean …?`, or empty.
        hint: String,
    },
    /// A neck that no guitar has.
    #[error("{found} {what} cannot be: {range}")]
    Neck {
        /// What was counted.
        what: &'static str,
        /// The value given.
        found: i64,
        /// The values allowed, as a sentence.
        range: &'static str,
    },
    /// A chord that has no triad.
    #[error("{chord} has no triad: {reason}")]
    NoTriad {
        /// The chord as written.
        chord: String,
        /// Why, and what to do.
        reason: &'static str,
    },
    /// Gauges that do not fit.
    #[error("'{found}' is not a set of string gauges: {reason}")]
    Gauges {
        /// As written.
        found: String,
        /// What is wrong with it.
        reason: String,
    },
}
