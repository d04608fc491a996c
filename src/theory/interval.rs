//! Intervals by letters and semitones.

use super::TheoryError;
use super::words::quotable;
use std::fmt;
use std::str::FromStr;

/// A distance between two notes, as it is spelled: a diminished fifth and an augmented fourth are 6 semitones both, and differ.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Interval {
    /// Letters upwards: 0 for a unison, 4 for a fifth.
    pub steps: i32,
    /// Semitones upwards.
    pub semitones: i32,
}

impl Interval {
    /// An octave: seven letters, twelve semitones.
    pub const OCTAVE: Self = Self { steps: 7, semitones: 12 };

    /// An interval from its parts.
    #[must_use]
    pub const fn new(steps: i32, semitones: i32) -> Self {
        Self { steps, semitones }
    }

    /// Semitones of the perfect or major interval over as many letters.
    #[must_use]
    pub fn natural(steps: i32) -> i32 {
        12 * steps.div_euclid(7) + [0, 2, 4, 5, 7, 9, 11][steps.rem_euclid(7) as usize]
    }

    /// What is left to the octave above: a third becomes a sixth. Of an interval within an octave.
    #[must_use]
    pub fn inverted(self) -> Self {
        Self { steps: 7 - self.steps, semitones: 12 - self.semitones }
    }

    /// Semitones above the perfect or major interval over as many letters.
    #[must_use]
    pub fn alter(self) -> i32 {
        self.semitones - Self::natural(self.steps)
    }

    fn is_perfect(self) -> bool {
        matches!(self.steps.rem_euclid(7), 0 | 3 | 4)
    }
}

impl std::ops::Add for Interval {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self { steps: self.steps + other.steps, semitones: self.semitones + other.semitones }
    }
}

impl std::ops::Neg for Interval {
    type Output = Self;
    fn neg(self) -> Self {
        Self { steps: -self.steps, semitones: -self.semitones }
    }
}

impl fmt::Display for Interval {
    /// `P5`, `m3`, `A4`, `d7`; downwards with a minus sign.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.steps < 0 {
            return write!(f, "-{}", -*self);
        }
        let quality = match (self.is_perfect(), self.alter()) {
            (true, 0) => "P".to_string(),
            (false, 0) => "M".to_string(),
            (false, -1) => "m".to_string(),
            (_, raised @ 1..) => "A".repeat(raised as usize),
            (true, lowered) => "d".repeat(lowered.unsigned_abs() as usize),
            (false, lowered) => "d".repeat(lowered.unsigned_abs() as usize - 1),
        };
        write!(f, "{quality}{}", self.steps + 1)
    }
}

impl FromStr for Interval {
    type Err = TheoryError;

    fn from_str(text: &str) -> Result<Self, TheoryError> {
        let wrong = || TheoryError::Interval { found: quotable(text) };
        let digits = text.find(|c: char| c.is_ascii_digit()).ok_or_else(wrong)?;
        let (quality, number) = text.split_at(digits);
        let steps = number.parse::<i32>().ok().filter(|n| (1..=28).contains(n)).ok_or_else(wrong)? - 1;
        let size = i32::try_from(quality.len()).map_err(|_| wrong())?;
        let perfect = Self::new(steps, 0).is_perfect();
        let alter = match quality.as_bytes() {
            [b'P'] if perfect => 0,
            [b'M'] if !perfect => 0,
            [b'm'] if !perfect => -1,
            [b'A', rest @ ..] if size <= 4 && rest.iter().all(|c| *c == b'A') => size,
            [b'd', rest @ ..] if size <= 4 && rest.iter().all(|c| *c == b'd') => -size - i32::from(!perfect),
            _ => return Err(wrong()),
        };
        Ok(Self::new(steps, Self::natural(steps) + alter))
    }
}
