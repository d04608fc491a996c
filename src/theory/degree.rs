//! Degrees: places above a root, counted in its major scale.

use super::TheoryError;
use super::interval::Interval;
use super::words::quotable;
use std::fmt;
use std::str::FromStr;

/// A place above a root: `1`, `b3`, `#11`. In chords up to 13, in scales up to 7.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Degree {
    /// 1 to 13.
    pub number: u8,
    /// Semitones above that degree of the major scale.
    pub alter: i8,
}

impl Degree {
    /// The root.
    pub const ROOT: Self = Self::new(1, 0);

    /// A degree from its parts.
    #[must_use]
    pub const fn new(number: u8, alter: i8) -> Self {
        Self { number, alter }
    }

    /// The interval from the root up to it.
    #[must_use]
    pub fn interval(self) -> Interval {
        let steps = i32::from(self.number) - 1;
        Interval::new(steps, Interval::natural(steps) + i32::from(self.alter))
    }

    /// Semitones above the root, within the octave: 0 to 11.
    #[must_use]
    pub fn class(self) -> i32 {
        self.interval().semitones.rem_euclid(12)
    }

    /// The degree that an interval makes over a root, within the octave: 1 to 7.
    #[must_use]
    pub fn of(interval: Interval) -> Self {
        let steps = interval.steps.rem_euclid(7);
        let octaves = interval.steps.div_euclid(7);
        let alter = interval.semitones - 12 * octaves - Interval::natural(steps);
        Self { number: steps as u8 + 1, alter: alter as i8 }
    }

    /// The usual name of a number of semitones above a root: `1 b2 2 b3 3 4 b5 5 b6 6 b7 7`.
    #[must_use]
    pub fn usual(semitones: i32) -> Self {
        let (number, alter) = [(1, 0), (2, -1), (2, 0), (3, -1), (3, 0), (4, 0), (5, -1), (5, 0), (6, -1), (6, 0), (7, -1), (7, 0)]
            [semitones.rem_euclid(12) as usize];
        Self { number, alter }
    }
}

impl fmt::Display for Degree {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let sign = if self.alter < 0 { "b" } else { "#" };
        f.pad(&format!("{}{}", sign.repeat(usize::from(self.alter.unsigned_abs())), self.number))
    }
}

impl FromStr for Degree {
    type Err = TheoryError;

    fn from_str(text: &str) -> Result<Self, TheoryError> {
        let wrong = || TheoryError::Degree { found: quotable(text) };
        let digits = text.find(|c: char| c.is_ascii_digit()).ok_or_else(wrong)?;
        let (signs, number) = text.split_at(digits);
        let alter = match signs {
            "" => 0,
            "b" => -1,
            "bb" => -2,
            "#" => 1,
            "##" => 2,
            _ => return Err(wrong()),
        };
        let number = number.parse::<u8>().ok().filter(|n| (1..=13).contains(n)).ok_or_else(wrong)?;
        Ok(Self { number, alter })
    }
}
