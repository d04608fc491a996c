//! Ten seconds before the first drill: is the level good, does it hum, does a gate cut notes off, is the guitar in tune?
//!
//! Common practice, no source. Everything is read from what the live tracker says anyway.

use crate::theory::Tuning;

/// How long it takes, s.
pub const CHECK_S: f64 = 10.0;
/// The strings are quiet at first for so long, s; then they are picked.
pub const QUIET_S: f64 = 3.0;

/// The loudest moment should lie in here, dBFS: clear of the noise, and clear of clipping.
const GOOD_LEVEL: (f64, f64) = (-36.0, -3.0);
/// Between notes it is quiet under this, dBFS.
const QUIET_DBFS: f64 = -62.0;
/// A note that falls by so much from one reading to the next was cut.
const CUT_DB: f64 = 30.0;
/// A string that is off by more is named, cents.
const TUNED_CENTS: f64 = 6.0;
/// A pitch belongs to an open string within this, cents.
const NEAR_CENTS: f64 = 60.0;

/// So many readings of a string tell its tuning.
const TELLING: usize = 40;

/// Something to be done before playing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finding {
    /// In eight characters at most.
    pub word: String,
    /// What it is, and what to do.
    pub sentence: String,
}

impl Finding {
    fn new(word: &str, sentence: impl Into<String>) -> Self {
        Self { word: word.to_owned(), sentence: sentence.into() }
    }
}

/// Collects what was heard.
#[derive(Clone, Debug, Default)]
pub struct Check {
    levels: Vec<f64>,
    last: Option<f64>,
    cuts: usize,
    /// Open pitches, cents, string 1 first.
    open: Vec<f64>,
    /// What was heard of each, cents off.
    heard: Vec<Vec<f64>>,
}

impl Check {
    /// For a tuning as it sounds; `offset` semitones of capo or tuning down.
    #[must_use]
    pub fn new(tuning: &Tuning, offset: i32) -> Self {
        let mut open: Vec<f64> = tuning.low_to_high().iter().map(|note| note.cents() + 100.0 * f64::from(offset)).collect();
        open.reverse();
        let heard = vec![Vec::new(); open.len()];
        Self { open, heard, ..Self::default() }
    }

    /// One reading.
    pub fn reading(&mut self, level_dbfs: Option<f64>, cents: Option<f64>) {
        let level = level_dbfs.unwrap_or(-120.0);
        if self.last.is_some_and(|last| last > -50.0 && last - level > CUT_DB) {
            self.cuts += 1;
        }
        self.last = Some(level);
        self.levels.push(level);
        let Some(cents) = cents else { return };
        let near = self.open.iter().enumerate().map(|(string, open)| (string, cents - open)).min_by(|a, b| a.1.abs().total_cmp(&b.1.abs()));
        if let Some((string, off)) = near.filter(|(_, off)| off.abs() <= NEAR_CENTS) {
            self.heard[string].push(off);
        }
    }

    /// Which strings were heard for long enough, and which were not; 1 the highest.
    #[must_use]
    pub fn strings(&self) -> (Vec<usize>, Vec<usize>) {
        (1..=self.heard.len()).partition(|string| self.heard[string - 1].len() >= TELLING)
    }

    /// What is to be done before playing; nothing where all is well.
    #[must_use]
    pub fn findings(&self) -> Vec<Finding> {
        let mut levels = self.levels.clone();
        levels.sort_by(f64::total_cmp);
        let Some(loudest) = levels.last().copied().filter(|loudest| *loudest > -70.0) else {
            let sentence = "Nothing was heard: is the guitar plugged in, and its volume up? `landfall devices` lists the inputs.";
            return vec![Finding::new("no sound", sentence)];
        };
        let mut found = Vec::new();
        if loudest > GOOD_LEVEL.1 {
            found.push(Finding::new("too loud", format!("The level is high ({loudest:.0} dBFS): turn the input down a little.")));
        } else if loudest < GOOD_LEVEL.0 {
            found.push(Finding::new("too soft", format!("The level is low ({loudest:.0} dBFS): turn the input up.")));
        }
        let quiet = levels[levels.len() / 10];
        if quiet > QUIET_DBFS {
            let what =
                format!("It is not quiet between notes ({quiet:.0} dBFS): turn away from screens and transformers, and use less gain.");
            found.push(Finding::new("noise", what));
        }
        if self.cuts > 0 {
            found.push(Finding::new("gate", "Notes are cut off, as by a noise gate: switch it off, or holds will seem short."));
        }
        for (string, heard) in self.heard.iter().enumerate().filter(|(_, heard)| heard.len() >= TELLING) {
            let mut heard = heard.clone();
            heard.sort_by(f64::total_cmp);
            let off = heard[heard.len() / 2];
            if off.abs() > TUNED_CENTS {
                let way = if off > 0.0 { "sharp" } else { "flat" };
                let number = string + 1;
                let what = format!("String {number} is {:.0} cents {way}: tune it first (`landfall tune`).", off.abs());
                found.push(Finding::new(&format!("{number} {way}"), what));
            }
        }
        found
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn found(readings: &[(f64, Option<f64>, usize)]) -> String {
        let mut check = Check::new(&Tuning::standard(), 0);
        for (level, cents, count) in readings {
            (0..*count).for_each(|_| check.reading(Some(*level), *cents));
        }
        check.findings().iter().map(|found| found.sentence.clone()).collect::<Vec<_>>().join(" ")
    }

    #[test]
    fn what_is_wrong_is_said_and_nothing_else() {
        let quiet = (-80.0, None, 300);
        assert!(found(&[quiet]).contains("Nothing was heard"));
        assert_eq!(found(&[quiet, (-20.0, Some(5901.0), 100), (-45.0, Some(5901.0), 100), (-64.0, None, 20), quiet]), "");
        assert!(found(&[quiet, (-1.0, None, 10), (-45.0, None, 10)]).contains("level is high"));
        assert!(found(&[quiet, (-50.0, None, 10)]).contains("level is low"));
        assert!(found(&[(-50.0, None, 300), (-20.0, None, 100)]).contains("not quiet between notes"));
        assert!(found(&[quiet, (-20.0, None, 100), (-100.0, None, 100)]).contains("noise gate"));
        assert!(found(&[quiet, (-20.0, Some(5914.0), 100), (-45.0, None, 10)]).contains("String 2 is 14 cents sharp"));
        assert!(found(&[quiet, (-20.0, Some(3988.0), 100), (-45.0, None, 10)]).contains("String 6 is 12 cents flat"));
    }
}
