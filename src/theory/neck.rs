//! The neck: places, and what sounds there.

use super::{Interval, Note, TheoryError, Tuning};

/// A place on the neck.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Place {
    /// 1 is the highest string.
    pub string: u8,
    /// 0 is the open string (or the capo).
    pub fret: u8,
}

/// A neck as it is fingered: frets count from the capo, and notes are called as if there were none and the guitar stood in the
/// tuning given. `sounding` says what is heard.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Neck {
    tuning: Tuning,
    frets: u8,
    capo: u8,
    tuned_down: u8,
}

impl Neck {
    /// A neck with frets 1 to `frets`, at most 36.
    ///
    /// # Errors
    /// [`TheoryError::Neck`] outside of that.
    pub fn new(tuning: Tuning, frets: u8) -> Result<Self, TheoryError> {
        if !(1..=36).contains(&frets) {
            return Err(TheoryError::Neck { what: "frets", found: i64::from(frets), range: "a neck has 1 to 36" });
        }
        Ok(Self { tuning, frets, capo: 0, tuned_down: 0 })
    }

    /// The same neck with a capo: fret 0 is the capo, and there are fewer frets above it.
    ///
    /// # Errors
    /// [`TheoryError::Neck`] where no two frets are left above it.
    pub fn with_capo(mut self, capo: u8) -> Result<Self, TheoryError> {
        if capo > 0 && capo + 1 >= self.frets + self.capo {
            return Err(TheoryError::Neck { what: "as the capo's fret", found: i64::from(capo), range: "it leaves no frets to play on" });
        }
        self.frets = self.frets + self.capo - capo;
        self.capo = capo;
        Ok(self)
    }

    /// The same neck tuned `semitones` lower than it is called, at most 12.
    ///
    /// # Errors
    /// [`TheoryError::Neck`] for more.
    pub fn tuned_down(mut self, semitones: u8) -> Result<Self, TheoryError> {
        if semitones > 12 {
            return Err(TheoryError::Neck { what: "semitones down", found: i64::from(semitones), range: "0 to 12 can be" });
        }
        self.tuned_down = semitones;
        Ok(self)
    }

    /// The open strings as fingered.
    #[must_use]
    pub fn tuning(&self) -> &Tuning {
        &self.tuning
    }

    /// The highest fret, counted from the capo.
    #[must_use]
    pub fn frets(&self) -> u8 {
        self.frets
    }

    /// The fret that the capo lies on; 0 for none.
    #[must_use]
    pub fn capo(&self) -> u8 {
        self.capo
    }

    /// Semitones that the guitar is tuned lower than it is called.
    #[must_use]
    pub fn semitones_down(&self) -> u8 {
        self.tuned_down
    }

    /// How many strings.
    #[must_use]
    pub fn strings(&self) -> u8 {
        self.tuning.count()
    }

    /// The MIDI number at a place, as fingered. For a string that the neck does not have: of the nearest one it has.
    #[must_use]
    pub fn midi(&self, place: Place) -> i32 {
        let string = place.string.clamp(1, self.strings());
        self.tuning.open(string).map_or(0, Note::midi) + i32::from(place.fret)
    }

    /// Semitones from the fingered pitch to the sounding one: up by the capo, down by the tuning.
    #[must_use]
    pub fn sounding_offset(&self) -> i32 {
        i32::from(self.capo) - i32::from(self.tuned_down)
    }

    /// The MIDI number that is heard at a place.
    #[must_use]
    pub fn sounding(&self, place: Place) -> i32 {
        self.midi(place) + self.sounding_offset()
    }

    /// A note as it is heard when `fingered` is played: spelled a step away where capo or tuning move it.
    #[must_use]
    pub fn sounding_note(&self, fingered: Note) -> Note {
        let offset = self.sounding_offset();
        if offset == 0 { fingered } else { Note::usual(fingered.up(Interval::new(0, offset)).midi()) }
    }

    /// All places, from the lowest string up, each from the open string up.
    pub fn places(&self) -> impl Iterator<Item = Place> + '_ {
        (1..=self.strings()).rev().flat_map(|string| (0..=self.frets).map(move |fret| Place { string, fret }))
    }

    /// All places of a pitch as fingered, from the lowest string up.
    pub fn places_of(&self, midi: i32) -> impl Iterator<Item = Place> + '_ {
        (1..=self.strings()).rev().filter_map(move |string| {
            let fret = midi - self.midi(Place { string, fret: 0 });
            u8::try_from(fret).ok().filter(|fret| *fret <= self.frets).map(|fret| Place { string, fret })
        })
    }
}
