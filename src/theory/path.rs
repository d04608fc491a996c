//! Practice paths: triads up a set of strings and across the neck, scale positions that hold them, strong notes within reach.

use super::bend::{Bend, bends};
use super::chord::Chord;
use super::degree::Degree;
use super::neck::{Neck, Place};
use super::note::Note;
use super::scale::Scale;
use super::strings::StringSet;
use super::triad::{Triad, Voicing, string_sets, voicings};

/// The close voicings on one set of strings from the nut up: inversion after inversion.
#[must_use]
pub fn up_the_set(neck: &Neck, triad: &Triad, strings: [u8; 3]) -> Vec<Voicing> {
    voicings(neck, triad, &[strings]).into_iter().filter(Voicing::is_close).collect()
}

/// On each set of neighbouring strings, from the lowest, the close voicing nearest to the hand, the lower one of two.
#[must_use]
pub fn across(neck: &Neck, triad: &Triad, hand: u8) -> Vec<Voicing> {
    let away = |voicing: &Voicing| voicing.frets.iter().map(|fret| u32::from(fret.abs_diff(hand))).sum::<u32>();
    string_sets(neck.strings(), false)
        .into_iter()
        .filter_map(|set| up_the_set(neck, triad, set).into_iter().min_by_key(|voicing| (away(voicing), voicing.frets)))
        .collect()
}

/// The positions of a scale: the frets of its notes on the lowest string within one octave, where the first finger goes.
#[must_use]
pub fn positions(neck: &Neck, scale: &Scale) -> Vec<u8> {
    let lowest = neck.strings();
    (0..12.min(neck.frets())).filter(|fret| scale.contains(neck.midi(Place { string: lowest, fret: *fret }))).collect()
}

/// Whether a voicing lies in a position: the first finger's fret and three more, one fret of stretch on either side; also an octave up.
#[must_use]
pub fn lies_in(voicing: &Voicing, position: u8) -> bool {
    let within = |position: u8| voicing.lowest_fret() + 1 >= position && voicing.highest_fret() <= position + 4;
    within(position) || within(position + 12)
}

/// How a note is reached from where the hand is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Technique {
    /// Fretted within the position.
    Fret,
    /// Slid to on the same string.
    Slide,
    /// Bent to from there.
    Bend(Bend),
}

/// A strong note within reach.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reach {
    /// Where to fret, or to end the slide.
    pub place: Place,
    /// What sounds then.
    pub note: Note,
    /// Its degree in the chord.
    pub degree: Degree,
    /// How.
    pub technique: Technique,
}

/// The strong notes (root, third, fifth) that a hand whose finger is at `place` can reach: fretted in its position on this string and
/// the two on either side, slid to on the same string up to five frets away, or bent to within the position by 100 or 200 cents.
#[must_use]
pub fn within_reach(neck: &Neck, strings: &StringSet, chord: &Chord, scale: Option<&Scale>, place: Place) -> Vec<Reach> {
    let strong = |midi: i32| chord.strong().into_iter().find(|tone| tone.name.class() == midi.rem_euclid(12));
    let near = |other: Place, frets: u8| other.string.abs_diff(place.string) <= 2 && other.fret.abs_diff(place.fret) <= frets;
    let mut found = Vec::new();
    for here in neck.places() {
        let midi = neck.midi(here);
        let Some((tone, note)) = strong(midi).and_then(|tone| Some((tone, tone.name.at(midi)?))) else { continue };
        let technique = match here {
            _ if near(here, 3) => Technique::Fret,
            _ if here.string == place.string && here.fret > 0 && here.fret.abs_diff(place.fret) <= 5 => Technique::Slide,
            _ => continue,
        };
        found.push(Reach { place: here, note, degree: tone.degree, technique });
    }
    for bend in bends(neck, strings, chord, scale, &[100, 200]) {
        if near(bend.place, 3) && strong(bend.target.midi()).is_some() {
            found.push(Reach { place: bend.place, note: bend.target, degree: bend.degree, technique: Technique::Bend(bend) });
        }
    }
    found
}
