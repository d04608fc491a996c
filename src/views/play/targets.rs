//! The tones to land on: the chord's root, third and fifth where they lie on the neck, as degrees; the root boxed.

use crate::theory::Neck;
use crate::theory::{Chord, placed};
use crate::views::neck::{Board, Mark};
use crate::views::neck_words;

/// The neck in lines of at most `columns` characters with the strong notes of a chord (root, third, fifth) and its seventh.
#[must_use]
pub fn lines(neck: &Neck, frets: (u8, u8), left_handed: bool, chord: Option<&Chord>, columns: usize) -> Vec<String> {
    let mut board = Board::of(neck, left_handed).between(Some(frets));
    let places = placed::placed(neck, chord, None);
    let shown = |place: &&placed::Placed| (frets.0..=frets.1).contains(&place.place.fret);
    let near = |place: &&placed::Placed| place.degree.is_some_and(|degree| degree.number <= 7);
    let marks: Vec<Mark> = places.iter().filter(shown).filter(near).map(|place| neck_words::mark(place, chord)).collect();
    board.marks = marks;
    board.lines(columns)
}
