//! Chord tones and scale notes in their places.

use super::chord::Chord;
use super::degree::Degree;
use super::neck::{Neck, Place};
use super::note::Note;
use super::scale::Scale;

/// A note of a chord or a scale where it lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Placed {
    /// Where.
    pub place: Place,
    /// The note as fingered; the chord's spelling wins over the scale's.
    pub note: Note,
    /// Its degree in the chord, if it is a chord tone.
    pub degree: Option<Degree>,
    /// Its degree in the scale, if it is a note of it.
    pub scale_degree: Option<Degree>,
}

/// Every place of a chord's tones and a scale's notes, from the lowest string up.
#[must_use]
pub fn placed(neck: &Neck, chord: Option<&Chord>, scale: Option<&Scale>) -> Vec<Placed> {
    neck.places()
        .filter_map(|place| {
            let midi = neck.midi(place);
            let tone = chord.and_then(|chord| chord.tone_of_pitch(midi));
            let in_scale = scale.and_then(|scale| scale.note_of_pitch(midi));
            let name = tone.map(|tone| tone.name).or(in_scale.map(|(_, name)| name))?;
            let note = name.at(midi)?;
            Some(Placed { place, note, degree: tone.map(|tone| tone.degree), scale_degree: in_scale.map(|(degree, _)| degree) })
        })
        .collect()
}
