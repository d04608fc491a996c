//! The tuner's judgement: which string sounds, how far off it is, and whether it is in tune, in words that do not flicker.
//!
//! Conventions (common practice, no source): a string is in tune when two averages in a row, a fifth of a second apart, lie within `within_cents` of
//! what is wanted, are certain to that, and the attack's sharpness has gone. It stays in tune until two settled averages in a row lie more than
//! [`LEAVES_CENTS`] outside, or one lies [`PLAINLY_OFF_CENTS`] off: picked again, it is sharp for a moment, and that is no reason to turn a peg.
//! An average that is right to a tenth of a cent, and certain to half of one, needs no second.
//! While a struck string glides home, and an average is not certain to [`WORD_CENTS`], the word is `settling`, unless it is plainly off.
//! The number in a word changes only when the pitch has left it by more than [`STICKS_CENTS`].

use crate::notes::steady::Steady;
use crate::theory::Note;
use std::fmt;

/// In tune is left so far outside the tolerance, cents.
pub const LEAVES_CENTS: f64 = 1.0;
/// So far off, a string is out of tune whatever it was before, cents.
pub const PLAINLY_OFF_CENTS: f64 = 20.0;
/// What rounds to nothing, and is as certain as this, is in tune at once, cents.
pub const NOTHING_CENTS: f64 = 0.05;
const CERTAIN_CENTS: f64 = 0.5;
/// A number stays while the pitch is this close to it, cents.
pub const STICKS_CENTS: f64 = 0.8;

/// An average that is less certain than this has no number in its word, cents, unless it is off by `PLAINLY` times as much.
pub const WORD_CENTS: f64 = 3.0;
const PLAINLY: f64 = 4.0;

/// Above and between the strings, a note further off than this is none of them, cents.
const NO_STRING_CENTS: f64 = 350.0;
/// A slack string may be this far under the lowest pitch, cents.
const SLACK_CENTS: f64 = 750.0;
/// Within so many cents of a string's octave, and with no open string nearer than [`NO_OPEN_STRING_CENTS`], it is the string's harmonic at fret 12.
const HARMONIC_CENTS: f64 = 40.0;
const NO_OPEN_STRING_CENTS: f64 = 120.0;
/// A note stays the string it was until another is nearer by so much.
const CHANGES_CENTS: f64 = 60.0;

/// A string to tune.
#[derive(Clone, Debug, PartialEq)]
pub struct OpenString {
    /// 1 the highest.
    pub number: u8,
    /// As it is called.
    pub note: Note,
    /// The pitch that is wanted, in cents on the MIDI scale: what sounds, with capo, tuning down and its own offset.
    pub cents: f64,
}

/// What is heard of which string.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sounds {
    /// The open string; its place in the list.
    Open(usize),
    /// Its harmonic at fret 12, an octave higher.
    Harmonic(usize),
    /// No string of this tuning.
    Other,
}

impl Sounds {
    /// Its string's place in the list.
    #[must_use]
    pub fn string(self) -> Option<usize> {
        match self {
            Self::Open(string) | Self::Harmonic(string) => Some(string),
            Self::Other => None,
        }
    }
}

/// The word for the player.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TuningWord {
    /// It may stay as it is.
    InTune,
    /// Within the tolerance, but not certain or not at rest yet.
    Nearly,
    /// It still glides, and a number would not be where it comes to rest.
    Settling,
    /// No string of the tuning is wanted there.
    Other,
    /// So many cents too low.
    Flat(u32),
    /// So many cents too high.
    Sharp(u32),
}

impl fmt::Display for TuningWord {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::InTune => f.write_str("in tune"),
            Self::Nearly => f.write_str("nearly"),
            Self::Settling => f.write_str("settling"),
            Self::Other => f.write_str("other"),
            Self::Flat(cents) => write!(f, "flat {cents}"),
            Self::Sharp(cents) => write!(f, "sharp {cents}"),
        }
    }
}

/// What the tuner says of one average.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tuned {
    /// Which string.
    pub sounds: Sounds,
    /// The nearest note of equal temperament, by its MIDI number.
    pub nearest_midi: i32,
    /// Cents above (positive) or under what is wanted; for [`Sounds::Other`], above or under the nearest note.
    pub error_cents: f64,
    /// The word.
    pub word: TuningWord,
    /// The average behind it.
    pub steady: Steady,
}

/// What is known of one string.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Known {
    in_tune: bool,
    /// Averages in a row that speak for the other state.
    against: u8,
    last: Option<Tuned>,
}

/// Judges averages, one after the other.
#[derive(Clone, Debug)]
pub struct Tuner {
    strings: Vec<OpenString>,
    within_cents: f64,
    known: Vec<Known>,
    now: Option<Tuned>,
}

impl Tuner {
    /// For these strings, of which there is at least one; in tune is within so many cents.
    #[must_use]
    pub fn new(strings: Vec<OpenString>, within_cents: f64) -> Self {
        let known = vec![Known::default(); strings.len()];
        Self { strings, within_cents, known, now: None }
    }

    /// The strings.
    #[must_use]
    pub fn strings(&self) -> &[OpenString] {
        &self.strings
    }

    /// What was said last of a string.
    #[must_use]
    pub fn last(&self, string: usize) -> Option<&Tuned> {
        self.known.get(string)?.last.as_ref()
    }

    /// What was said last.
    #[must_use]
    pub fn now(&self) -> Option<&Tuned> {
        self.now.as_ref()
    }

    /// Judges the next average.
    pub fn hear(&mut self, steady: Steady) -> Tuned {
        let sounds = self.which(&steady);
        let nearest_midi = (steady.cents / 100.0).round() as i32;
        let wanted = match sounds {
            Sounds::Open(string) => self.strings[string].cents,
            Sounds::Harmonic(string) => self.strings[string].cents + 1200.0,
            Sounds::Other => f64::from(nearest_midi) * 100.0,
        };
        let error_cents = steady.cents - wanted;
        let before = self.now.filter(|now| now.sounds == sounds).map(|now| now.word);
        let in_tune = sounds.string().is_some_and(|string| self.judge(string, error_cents, &steady));
        let word = if sounds == Sounds::Other {
            TuningWord::Other
        } else {
            self.word(in_tune, (error_cents, steady.give_or_take_cents()), before)
        };
        let tuned = Tuned { sounds, nearest_midi, error_cents, word, steady };
        if let Some(string) = sounds.string() {
            self.known[string].last = Some(tuned);
        }
        self.now = Some(tuned);
        tuned
    }

    fn which(&self, steady: &Steady) -> Sounds {
        let distance = |string: usize| (steady.cents - self.strings[string].cents).abs();
        let Some(nearest) = (0..self.strings.len()).min_by(|a, b| distance(*a).total_cmp(&distance(*b))) else { return Sounds::Other };
        // In one note the string stays what it is, unless it was plainly misjudged.
        let before = self.now.filter(|now| now.steady.note == steady.note);
        if let Some(Sounds::Open(string)) = before.map(|now| now.sounds)
            && distance(string) < distance(nearest) + CHANGES_CENTS
            && distance(string) < NO_STRING_CENTS
        {
            return Sounds::Open(string);
        }
        let octave = |string: usize| (steady.cents - self.strings[string].cents - 1200.0).abs();
        let harmonic =
            (0..self.strings.len()).min_by(|a, b| octave(*a).total_cmp(&octave(*b))).filter(|found| octave(*found) <= HARMONIC_CENTS);
        if let Some(string) = harmonic
            && distance(nearest) > NO_OPEN_STRING_CENTS
        {
            return Sounds::Harmonic(string);
        }
        let lowest = self.strings.iter().map(|string| string.cents).fold(f64::INFINITY, f64::min);
        let allowed = if steady.cents < lowest || self.strings.len() == 1 { SLACK_CENTS } else { NO_STRING_CENTS };
        if distance(nearest) <= allowed { Sounds::Open(nearest) } else { Sounds::Other }
    }

    /// Whether the string counts as in tune now.
    fn judge(&mut self, string: usize, error: f64, steady: &Steady) -> bool {
        let within = self.within_cents;
        let known = &mut self.known[string];
        let settled = steady.has_settled();
        let against = if known.in_tune {
            settled && error.abs() > within + LEAVES_CENTS
        } else {
            settled && error.abs() <= within && steady.give_or_take_cents() <= within
        };
        let right = error.abs() < NOTHING_CENTS && steady.give_or_take_cents() <= within.min(CERTAIN_CENTS);
        known.against = if against { known.against + 1 } else { 0 };
        if known.against >= 2 || (right && !known.in_tune) || (known.in_tune && error.abs() > PLAINLY_OFF_CENTS) {
            known.in_tune = !known.in_tune;
            known.against = 0;
        }
        known.in_tune
    }

    fn word(&self, in_tune: bool, (error, uncertainty): (f64, f64), before: Option<TuningWord>) -> TuningWord {
        if in_tune {
            return TuningWord::InTune;
        }
        if error.abs() <= self.within_cents {
            return TuningWord::Nearly;
        }
        if uncertainty > WORD_CENTS && error.abs() < PLAINLY * uncertainty {
            return TuningWord::Settling;
        }
        let kept = match before {
            Some(TuningWord::Flat(cents)) if error < 0.0 => Some(cents),
            Some(TuningWord::Sharp(cents)) if error > 0.0 => Some(cents),
            _ => None,
        };
        let rounded = (error.abs().round() as u32).max(1);
        let cents = kept.filter(|cents| (error.abs() - f64::from(*cents)).abs() <= STICKS_CENTS).unwrap_or(rounded);
        if error < 0.0 { TuningWord::Flat(cents) } else { TuningWord::Sharp(cents) }
    }
}

#[cfg(test)]
mod tests;
