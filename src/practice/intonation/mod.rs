//! The check of a guitar's intonation: what to play next, what was read, and what follows from it.
//!
//! Conventions. For each string: the open string, its harmonic at fret 12, and the note at each fret asked for, several times each. The harmonic and the
//! note fretted at 12 have nearly the same pitch, so they are asked for in order and never guessed. A reading is taken of a note when its attack's
//! sharpness has gone and the average is certain to [`CERTAIN_CENTS`]; a note gives one. The reading of a place is the median of its readings.
//! Their spread is their standard deviation (with n − 1); the uncertainty of their median `2 √((1.253 s)² + u²) / √n`, `s` the spread and
//! `u` half of the mean uncertainty of a single reading. With fewer than two readings the spread is unknown and taken as the 2 cents that the
//! same fretted note scatters by (Mottola, "Same-Fretted-Note Intonation Variability of the Steel String Acoustic Guitar"), for the open string and the
//! harmonic, which no finger presses, as 0.

use super::tuner::OpenString;
use crate::notes::statistics::{mean, median};
use crate::notes::steady::Steady;
use crate::theory::saddle;

/// A reading is taken when its average is at least so certain, cents.
pub const CERTAIN_CENTS: f64 = 1.5;
/// An error under this is the scatter of pressing a fret (Mottola, as above): nothing to mend.
pub const SCATTER_CENTS: f64 = 2.0;

/// An open string further off than this is to be tuned first, cents.
const TUNE_FIRST_CENTS: f64 = 15.0;
/// A note further from what was asked for is another one, cents. The open string may be further off, but two frets are no tuning.
const ASKED_CENTS: f64 = 60.0;
const OPEN_CENTS: f64 = 150.0;

/// What is to be played on a string.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Place {
    /// The open string.
    Open,
    /// The harmonic: touched over the twelfth fret, not pressed.
    Harmonic,
    /// Pressed at this fret.
    Fret(u8),
}

/// What is asked for now.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Asked {
    /// The string's place in the list.
    pub string: usize,
    /// Where to play it.
    pub place: Place,
    /// From 1.
    pub reading: u32,
}

/// What came of an average.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Answer {
    /// It is the reading that was asked for.
    Taken(Asked, f64),
    /// It will be, when it has settled.
    Settling,
    /// Another note than the one that was asked for; its pitch in cents.
    Another(f64),
    /// The note was already read: play it anew.
    Read,
    /// There is nothing left to read.
    Done,
}

/// Readings of one place, in cents on the MIDI scale.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Readings {
    cents: Vec<f64>,
    uncertainty: Vec<f64>,
}

impl Readings {
    /// How many.
    #[must_use]
    pub fn count(&self) -> usize {
        self.cents.len()
    }

    /// Their median.
    #[must_use]
    pub fn cents(&self) -> Option<f64> {
        median(&self.cents)
    }

    /// Their standard deviation; `None` with fewer than two.
    #[must_use]
    pub fn spread_cents(&self) -> Option<f64> {
        let middle = mean(&self.cents).filter(|_| self.cents.len() > 1)?;
        let squares: f64 = self.cents.iter().map(|value| (value - middle).powi(2)).sum();
        Some((squares / (self.cents.len() - 1) as f64).sqrt())
    }

    /// Give or take so many cents; see the module.
    fn uncertainty_cents(&self, pressed: bool) -> Option<f64> {
        let single = mean(&self.uncertainty)? / 2.0;
        let scatter = self.spread_cents().unwrap_or(if pressed { SCATTER_CENTS } else { 0.0 });
        Some(2.0 * (1.253 * scatter).hypot(single) / (self.cents.len() as f64).sqrt())
    }

    fn take(&mut self, steady: &Steady) {
        self.cents.push(steady.cents);
        self.uncertainty.push(steady.uncertainty_cents);
    }
}

/// What was found at one fret of one string.
#[derive(Clone, Debug, PartialEq)]
pub struct Found {
    /// The string's place in the list.
    pub string: usize,
    /// The fret.
    pub fret: u8,
    /// Readings of the open string.
    pub open: Readings,
    /// Readings of the harmonic at fret 12; none at other frets.
    pub harmonic: Readings,
    /// Readings of the fretted note.
    pub fretted: Readings,
    /// Fretted minus right: minus the harmonic at fret 12, else minus the open string raised by the fret. `None` where one is missing.
    pub error_cents: Option<f64>,
    /// Of the error, give or take.
    pub uncertainty_cents: Option<f64>,
    /// Millimetres that the saddle goes back (negative: forward); see [`saddle::move_mm`]. `None` where it should stay, and for what no saddle mends.
    pub move_mm: Option<f64>,
    /// What to do.
    pub advice: Advice,
}

/// What to do about a string.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Advice {
    /// Not everything was read.
    Unfinished,
    /// The open string is too far off its pitch for the rest to mean much.
    TuneFirst,
    /// Within the scatter of pressing a fret.
    Leave,
    /// The readings scatter too much to tell.
    ReadAgain,
    /// Sharp: the saddle goes back.
    Back,
    /// Flat: the saddle goes forward.
    Forward,
    /// So far off that something else is wrong.
    Repairer,
}

impl Advice {
    /// In a word, for a table.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Unfinished => "unfinished",
            Self::TuneFirst => "tune first",
            Self::Leave => "leave",
            Self::ReadAgain => "read again",
            Self::Back => "back",
            Self::Forward => "forward",
            Self::Repairer => "repairer",
        }
    }
}

/// The check under way.
#[derive(Clone, Debug, PartialEq)]
pub struct Check {
    strings: Vec<OpenString>,
    frets: Vec<u8>,
    readings: u32,
    scale_mm: f64,
    steps: Vec<(usize, Place)>,
    taken: Vec<Readings>,
    at: usize,
    /// The note of the last reading.
    last_note: Option<u32>,
}

impl Check {
    /// A check of these strings, in their order, at these frets (fret 12 with its harmonic), so many readings of each, on this scale.
    #[must_use]
    pub fn new(strings: Vec<OpenString>, frets: Vec<u8>, readings: u32, scale_mm: f64) -> Self {
        let places = |string| {
            let fretted = frets.iter().flat_map(|&fret| [(fret == 12).then_some(Place::Harmonic), Some(Place::Fret(fret))]).flatten();
            std::iter::once(Place::Open).chain(fretted).map(move |place| (string, place)).collect::<Vec<_>>()
        };
        let steps: Vec<(usize, Place)> = (0..strings.len()).flat_map(places).collect();
        let taken = vec![Readings::default(); steps.len()];
        Self { strings, frets, readings, scale_mm, steps, taken, at: 0, last_note: None }
    }

    /// The strings.
    #[must_use]
    pub fn strings(&self) -> &[OpenString] {
        &self.strings
    }

    /// Readings asked for of each place.
    #[must_use]
    pub fn readings(&self) -> u32 {
        self.readings
    }

    /// The scale length, mm.
    #[must_use]
    pub fn scale_mm(&self) -> f64 {
        self.scale_mm
    }

    /// What is to be played next; `None` when all is read.
    #[must_use]
    pub fn asked(&self) -> Option<Asked> {
        let (string, place) = *self.steps.get(self.at)?;
        Some(Asked { string, place, reading: self.taken[self.at].count() as u32 + 1 })
    }

    /// Takes the next average.
    pub fn hear(&mut self, steady: &Steady) -> Answer {
        let Some(asked) = self.asked() else { return Answer::Done };
        if self.last_note == Some(steady.note) {
            return Answer::Read;
        }
        let (expected, near) = self.expected(asked);
        if (steady.cents - expected).abs() > near {
            return Answer::Another(steady.cents);
        }
        if !steady.has_settled() || steady.uncertainty_cents > CERTAIN_CENTS {
            return Answer::Settling;
        }
        self.taken[self.at].take(steady);
        self.last_note = Some(steady.note);
        if asked.reading >= self.readings {
            self.at += 1;
        }
        Answer::Taken(asked, steady.cents)
    }

    /// Leaves the rest of this string out; what was read of it stays.
    pub fn skip_string(&mut self) {
        if let Some((string, _)) = self.steps.get(self.at) {
            self.at = self.steps.partition_point(|(other, _)| other <= string);
        }
    }

    /// Reads this string anew; where nothing of it was read yet, the one before.
    pub fn repeat_string(&mut self) {
        let here = self.steps.get(self.at).map_or(self.strings.len(), |(string, _)| *string);
        let first = |string: usize| self.steps.partition_point(|(other, _)| *other < string);
        let untouched = self.taken[first(here)..].iter().all(|taken| taken.count() == 0);
        let string = if untouched { here.saturating_sub(1) } else { here };
        self.at = first(string);
        let after = first(string + 1);
        self.taken[self.at..after].fill(Readings::default());
    }

    /// The pitch that is expected, and how far off it still counts.
    fn expected(&self, asked: Asked) -> (f64, f64) {
        let open = self.of(asked.string, Place::Open).and_then(Readings::cents).unwrap_or(self.strings[asked.string].cents);
        match asked.place {
            Place::Open => (open, OPEN_CENTS),
            Place::Harmonic => (open + 1200.0, ASKED_CENTS),
            Place::Fret(fret) => (open + 100.0 * f64::from(fret), ASKED_CENTS),
        }
    }

    fn of(&self, string: usize, place: Place) -> Option<&Readings> {
        self.steps.iter().position(|step| *step == (string, place)).map(|at| &self.taken[at])
    }

    /// What was found so far, for every string and fret of which something was read.
    #[must_use]
    pub fn found(&self) -> Vec<Found> {
        let pairs = (0..self.strings.len()).flat_map(|string| self.frets.iter().map(move |&fret| (string, fret)));
        pairs.map(|(string, fret)| self.found_at(string, fret)).filter(|found| found.open.count() > 0).collect()
    }

    fn found_at(&self, string: usize, fret: u8) -> Found {
        let read = |place| self.of(string, place).cloned().unwrap_or_default();
        let (open, fretted) = (read(Place::Open), read(Place::Fret(fret)));
        let harmonic = if fret == 12 { read(Place::Harmonic) } else { Readings::default() };
        let (reference, raised) = if fret == 12 { (&harmonic, 0.0) } else { (&open, 100.0 * f64::from(fret)) };
        let error_cents = fretted.cents().zip(reference.cents()).map(|(fretted, right)| fretted - right - raised);
        let uncertainty = |readings: &Readings, pressed| readings.uncertainty_cents(pressed);
        let uncertainty_cents =
            uncertainty(&fretted, true).zip(uncertainty(reference, false)).map(|(a, b)| a.hypot(b)).filter(|_| error_cents.is_some());
        let off = open.cents().map(|cents| (cents - self.strings[string].cents).abs());
        let advice = advise(off, error_cents.zip(uncertainty_cents));
        let move_mm = error_cents
            .filter(|_| matches!(advice, Advice::Back | Advice::Forward))
            .and_then(|error| saddle::move_mm(self.scale_mm, fret, error));
        Found { string, fret, open, harmonic, fretted, error_cents, uncertainty_cents, move_mm, advice }
    }
}

fn advise(open_off: Option<f64>, error: Option<(f64, f64)>) -> Advice {
    let Some((error, uncertainty)) = error else { return Advice::Unfinished };
    if open_off.is_some_and(|off| off > TUNE_FIRST_CENTS) {
        return Advice::TuneFirst;
    }
    if error.abs() <= SCATTER_CENTS {
        return if uncertainty <= 2.0 * SCATTER_CENTS { Advice::Leave } else { Advice::ReadAgain };
    }
    if error.abs() <= uncertainty {
        return Advice::ReadAgain;
    }
    match error {
        e if e.abs() > 30.0 => Advice::Repairer,
        e if e > 0.0 => Advice::Back,
        _ => Advice::Forward,
    }
}

#[cfg(test)]
mod tests;
