//! Metres: how many beats a bar has, and which of them the foot comes down on.

use super::error::ChartFault;
use crate::theory::words::quotable;
use std::fmt;

/// A metre. In compound metres (6, 9, 12 ... over 8 or 16) the beat is three of the lower unit; in all others, and where `groups`
/// make a compound number uneven (9/8 as 2+2+2+3), it is the lower unit itself. Common practice.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Metre {
    upper: u32,
    lower: u32,
    beats: u32,
    groups: Vec<u32>,
}

impl Metre {
    /// 4/4.
    #[must_use]
    pub fn common() -> Self {
        Self { upper: 4, lower: 4, beats: 4, groups: Vec::new() }
    }

    /// Reads `12/8`, with groups such as `2+2+3` where there are any.
    ///
    /// # Errors
    /// [`ChartFault::Metre`] or [`ChartFault::Groups`].
    pub fn parse(text: &str, groups: Option<&str>) -> Result<Self, ChartFault> {
        let found = quotable(text);
        let wrong = |reason: &str| ChartFault::Metre { found: found.clone(), reason: reason.to_string() };
        let Some((upper, lower)) = text.split_once('/') else {
            return Err(wrong("write two numbers, for instance 4/4 or 12/8"));
        };
        let number = |text: &str| text.trim().parse::<u32>().ok();
        let (Some(upper), Some(lower)) = (number(upper), number(lower)) else {
            return Err(wrong("write two numbers, for instance 4/4 or 12/8"));
        };
        if !(1..=32).contains(&upper) {
            return Err(wrong("a bar has 1 to 32 counts"));
        }
        if !matches!(lower, 1 | 2 | 4 | 8 | 16 | 32) {
            let near = [1, 2, 4, 8, 16, 32].into_iter().min_by_key(|unit: &u32| unit.abs_diff(lower)).unwrap_or(4);
            return Err(wrong(&format!("the lower number is a note value, 1, 2, 4, 8, 16 or 32; did you mean {upper}/{near}?")));
        }
        let compound = upper > 3 && upper.is_multiple_of(3) && lower >= 8;
        let plain = Self { upper, lower, beats: if compound { upper / 3 } else { upper }, groups: Vec::new() };
        match groups {
            None => Ok(plain),
            Some(groups) => plain.grouped(groups),
        }
    }

    fn grouped(self, text: &str) -> Result<Self, ChartFault> {
        let found = quotable(text);
        let wrong = |reason: String| ChartFault::Groups { found: found.clone(), reason };
        let sizes: Option<Vec<u32>> = text.split('+').map(|n| n.trim().parse().ok().filter(|n| (1..=32).contains(n))).collect();
        let Some(sizes) = sizes else {
            return Err(wrong("write the counts of each group with + between them, for instance 2+2+3".to_string()));
        };
        let sum: u32 = sizes.iter().sum();
        let (beats, groups) = if sum == self.upper && self.is_compound() && sizes.iter().all(|n| n % 3 == 0) {
            (self.beats, sizes.iter().map(|n| n / 3).collect())
        } else if sum == self.upper {
            (self.upper, sizes)
        } else if sum == self.beats {
            (self.beats, sizes)
        } else {
            return Err(wrong(format!("they add up to {sum}, but a bar of {self} has {}", self.upper)));
        };
        Ok(Self { beats, groups, ..self })
    }

    /// Whether the beat is three of the lower unit.
    #[must_use]
    pub fn is_compound(&self) -> bool {
        self.beats < self.upper
    }

    /// Beats in a bar.
    #[must_use]
    pub fn beats(&self) -> u32 {
        self.beats
    }

    /// The groups in beats, empty where none were given.
    #[must_use]
    pub fn groups(&self) -> &[u32] {
        &self.groups
    }

    /// Upper and lower number.
    #[must_use]
    pub fn numbers(&self) -> (u32, u32) {
        (self.upper, self.lower)
    }

    /// Whether the foot comes down on a beat (from 0): the bar's first, and the first of each group.
    #[must_use]
    pub fn is_group_start(&self, beat: u32) -> bool {
        let mut start = 0;
        beat == 0
            || self.groups.iter().any(|size| {
                let here = start == beat;
                start += size;
                here
            })
    }

    /// The note that is one beat: `quarter`, `dotted quarter`, `eighth`.
    #[must_use]
    pub fn beat_name(&self) -> String {
        let unit = |lower: u32| match lower {
            0 | 1 => "whole",
            2 => "half",
            4 => "quarter",
            8 => "eighth",
            16 => "sixteenth",
            _ => "thirty-second",
        };
        if self.is_compound() { format!("dotted {}", unit(self.lower / 2)) } else { unit(self.lower).to_string() }
    }

    /// Quarter notes in one beat: 1.5 for a dotted quarter.
    #[must_use]
    pub fn quarters_per_beat(&self) -> f64 {
        f64::from(self.upper) / f64::from(self.beats) * 4.0 / f64::from(self.lower)
    }
}

impl fmt::Display for Metre {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&format!("{}/{}", self.upper, self.lower))
    }
}

#[cfg(test)]
mod tests {
    use super::Metre;

    #[test]
    fn compound_beats_are_dotted_and_groups_undo_that() {
        for (text, groups, beats, name) in [
            ("4/4", None, 4, "quarter"),
            ("12/8", None, 4, "dotted quarter"),
            ("6/8", None, 2, "dotted quarter"),
            ("9/8", None, 3, "dotted quarter"),
            ("9/8", Some("2+2+2+3"), 9, "eighth"),
            ("12/8", Some("3+3+3+3"), 4, "dotted quarter"),
            ("12/8", Some("2+2"), 4, "dotted quarter"),
            ("3/8", None, 3, "eighth"),
            ("7/8", Some("2+2+3"), 7, "eighth"),
            ("6/4", None, 6, "quarter"),
            ("2/2", None, 2, "half"),
            ("15/16", None, 5, "dotted eighth"),
        ] {
            let metre = Metre::parse(text, groups).unwrap();
            assert_eq!((metre.beats(), metre.beat_name().as_str()), (beats, name), "{text} {groups:?}");
        }
    }

    #[test]
    fn impossible_metres_and_groups_are_named() {
        for (text, groups, says) in [
            ("4/5", None, "4/4"),
            ("0/4", None, "1 to 32"),
            ("four", None, "two numbers"),
            ("-4/4", None, "two numbers"),
            ("7/8", Some("2+2+2"), "7"),
            ("7/8", Some("2+x"), "2+x"),
            ("4/4", Some(""), "''"),
        ] {
            let error = Metre::parse(text, groups).unwrap_err().to_string();
            assert!(error.contains(says), "{text} {groups:?}: {error}");
        }
    }
}
