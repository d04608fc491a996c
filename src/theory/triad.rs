//! Three tones of a chord on three strings: triads, and the shells of seventh chords.
//!
//! A voicing has each of its tones once, on three strings, its highest and lowest fret at most four apart (an open string counts as
//! fret 0). Its inversion is told by the tone that sounds lowest. It is close where the three sound within an octave, else spread.

use super::TheoryError;
use super::chord::{Chord, Tone};
use super::neck::{Neck, Place};
use super::note::Note;
use std::fmt;

/// The most frets that a hand spans in a voicing, highest minus lowest.
pub const WIDEST_SPAN: u8 = 4;

/// Three tones that stand for a chord, in order: what is lowest in root position first.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Triad {
    /// Root, third, fifth; of a shell root, third, seventh.
    pub tones: [Tone; 3],
}

/// What a triad is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TriadQuality {
    /// 1 3 5
    Major,
    /// 1 b3 5
    Minor,
    /// 1 b3 b5
    Diminished,
    /// 1 3 #5
    Augmented,
    /// 1 4 5 or 1 2 5: a suspended chord's
    Suspended,
    /// Anything else, such as 1 3 b5 or a shell.
    Other,
}

impl Triad {
    /// Root, third and fifth of a chord: whatever is stacked on top is left out. A suspended chord gives the tone that stands for
    /// its third.
    ///
    /// # Errors
    /// [`TheoryError::NoTriad`] for chords without a third or a fifth.
    pub fn of(chord: &Chord) -> Result<Self, TheoryError> {
        let third = chord.tone(3).or(chord.tone(4)).or(chord.tone(2));
        Self::from_tones(chord, third, chord.tone(5), "it has no third or no fifth; ask for its places without --triads")
    }

    /// Root, third and seventh (the sixth of a sixth chord): what a full seventh chord is told by.
    ///
    /// # Errors
    /// [`TheoryError::NoTriad`] for chords without a third or a seventh.
    pub fn shell(chord: &Chord) -> Result<Self, TheoryError> {
        let third = chord.tone(3).or(chord.tone(4)).or(chord.tone(2));
        Self::from_tones(chord, third, chord.tone(7).or(chord.tone(6)), "it has no third or no seventh, so it has no shell")
    }

    fn from_tones(chord: &Chord, second: Option<Tone>, third: Option<Tone>, reason: &'static str) -> Result<Self, TheoryError> {
        match (chord.tone(1), second, third) {
            (Some(root), Some(second), Some(third)) => Ok(Self { tones: [root, second, third] }),
            _ => Err(TheoryError::NoTriad { chord: chord.symbol().to_string(), reason }),
        }
    }

    /// What it is.
    #[must_use]
    pub fn quality(&self) -> TriadQuality {
        match self.tones.map(|tone| (tone.degree.number, tone.degree.alter)) {
            [_, (3, 0), (5, 0)] => TriadQuality::Major,
            [_, (3, -1), (5, 0)] => TriadQuality::Minor,
            [_, (3, -1), (5, -1)] => TriadQuality::Diminished,
            [_, (3, 0), (5, 1)] => TriadQuality::Augmented,
            [_, (2 | 4, 0), (5, 0)] => TriadQuality::Suspended,
            _ => TriadQuality::Other,
        }
    }
}

/// Which tone sounds lowest.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Inversion {
    /// The root.
    Root,
    /// The third.
    First,
    /// The fifth (a shell's seventh).
    Second,
}

impl fmt::Display for Inversion {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::Root => "root",
            Self::First => "first",
            Self::Second => "second",
        })
    }
}

/// A triad at a place on the neck. Arrays go from the lowest string (the one with the highest number) up.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Voicing {
    /// String numbers, falling.
    pub strings: [u8; 3],
    /// Frets.
    pub frets: [u8; 3],
    /// The tone on each string.
    pub tones: [Tone; 3],
    /// The MIDI number on each string, as fingered.
    pub midi: [i32; 3],
    /// Which tone sounds lowest.
    pub inversion: Inversion,
}

impl Voicing {
    /// The notes with their octaves.
    #[must_use]
    pub fn notes(&self) -> [Note; 3] {
        std::array::from_fn(|i| self.tones[i].name.at(self.midi[i]).unwrap_or(Note { name: self.tones[i].name, octave: 0 }))
    }

    /// The places, lowest string first.
    #[must_use]
    pub fn places(&self) -> [Place; 3] {
        std::array::from_fn(|i| Place { string: self.strings[i], fret: self.frets[i] })
    }

    /// Highest fret minus lowest.
    #[must_use]
    pub fn span(&self) -> u8 {
        self.highest_fret() - self.lowest_fret()
    }

    /// The lowest fret; 0 with an open string.
    #[must_use]
    pub fn lowest_fret(&self) -> u8 {
        self.frets.into_iter().min().unwrap_or(0)
    }

    /// The highest fret.
    #[must_use]
    pub fn highest_fret(&self) -> u8 {
        self.frets.into_iter().max().unwrap_or(0)
    }

    /// Whether the three sound within an octave.
    #[must_use]
    pub fn is_close(&self) -> bool {
        let (low, high) = self.midi.into_iter().fold((i32::MAX, i32::MIN), |(low, high), midi| (low.min(midi), high.max(midi)));
        high - low < 12
    }

    /// How far the voices move to another voicing, string by string: the sum of the semitones.
    #[must_use]
    pub fn motion_to(&self, other: &Self) -> u32 {
        self.midi.iter().zip(other.midi).map(|(a, b)| a.abs_diff(b)).sum()
    }
}

/// Sets of three neighbouring strings, the lowest set first; `spread` adds the sets that skip one string.
#[must_use]
pub fn string_sets(strings: u8, spread: bool) -> Vec<[u8; 3]> {
    let mut sets = Vec::new();
    for low in (3..=strings).rev() {
        sets.push([low, low - 1, low - 2]);
        if spread && low > 3 {
            sets.push([low, low - 1, low - 3]);
            sets.push([low, low - 2, low - 3]);
        }
    }
    sets
}

/// Every voicing of a triad on sets of strings, set by set, each from the nut up.
#[must_use]
pub fn voicings(neck: &Neck, triad: &Triad, sets: &[[u8; 3]]) -> Vec<Voicing> {
    let mut found = Vec::new();
    for &strings in sets {
        let begin = found.len();
        for order in [[0, 1, 2], [0, 2, 1], [1, 0, 2], [1, 2, 0], [2, 0, 1], [2, 1, 0]] {
            on_strings(neck, triad, strings, order, &mut found);
        }
        found[begin..].sort_by_key(|voicing: &Voicing| (voicing.lowest_fret(), voicing.frets));
    }
    found
}

/// The voicings with a given tone on each string.
fn on_strings(neck: &Neck, triad: &Triad, strings: [u8; 3], order: [usize; 3], found: &mut Vec<Voicing>) {
    let tones = order.map(|index| triad.tones[index]);
    let frets = |i: usize| {
        let open = neck.midi(Place { string: strings[i], fret: 0 });
        let first = (tones[i].name.class() - open).rem_euclid(12) as u8;
        (first..=neck.frets()).step_by(12)
    };
    for low in frets(0) {
        for middle in frets(1).filter(|fret| fret.abs_diff(low) <= WIDEST_SPAN) {
            for high in frets(2).filter(|fret| fret.abs_diff(low) <= WIDEST_SPAN && fret.abs_diff(middle) <= WIDEST_SPAN) {
                let frets = [low, middle, high];
                let midi = std::array::from_fn(|i| neck.midi(Place { string: strings[i], fret: frets[i] }));
                let lowest = (0..3).min_by_key(|i| midi[*i]).map_or(0, |i| order[i]);
                let inversion = [Inversion::Root, Inversion::First, Inversion::Second][lowest];
                found.push(Voicing { strings, frets, tones, midi, inversion });
            }
        }
    }
}

/// The voicings on the same strings that are reached with the least motion, and that motion; several where they tie.
#[must_use]
pub fn nearest<'a>(from: &Voicing, candidates: &'a [Voicing]) -> (u32, Vec<&'a Voicing>) {
    let same = || candidates.iter().filter(|candidate| candidate.strings == from.strings);
    let least = same().map(|candidate| from.motion_to(candidate)).min().unwrap_or(0);
    (least, same().filter(|candidate| from.motion_to(candidate) == least).collect())
}
