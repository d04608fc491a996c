//! One chord of a tune in full, for `--over`.

use super::Study;
use super::sections::distinct;
use crate::cli::{Failure, WrongUse};
use crate::theory::placed::placed;
use crate::theory::triad::string_sets;
use crate::theory::{Triad, Voicing, choice, voicings};
use crate::views::neck::Board;
use crate::views::neck_words as words;

impl Study {
    /// One chord in full: the neck, what stands above it, what stands below.
    pub(super) fn one_chord(&self, number: usize) -> Result<(Board, Vec<String>, Vec<String>), Failure> {
        let changes = self.changes();
        let Some((played, chord)) = number.checked_sub(1).and_then(|index| changes.get(index)).copied() else {
            return Err(WrongUse(format!("--over {number}: the tune has {} chords, counted from 1", changes.len())).into());
        };
        let guitar = &self.guitar;
        let fits = choice::scales(played.key, chord);
        let scale = fits.first().map(|fit| fit.scale);
        let function = played.function.as_ref().map_or_else(String::new, |function| format!(", {function}"));
        let mut before = vec![format!("Chord {number}, bar {}: {} in {}{function}", played.bar, played.roman, played.key)];
        before.push(words::chord_line(chord));
        before.extend(words::hanging("scales", &words::fit_words(&fits)));
        before.extend(words::guitar_line(&guitar.neck));
        let mut board = Board::of(&guitar.neck, guitar.left_handed).between(guitar.window.frets());
        let notes = placed(&guitar.neck, Some(chord), scale.as_ref());
        board.marks = notes.iter().filter(|note| guitar.window.holds(note.place)).map(|note| words::mark(note, Some(chord))).collect();
        let mut after = vec![String::new()];
        if let Ok(triad) = Triad::of(chord) {
            let inside = |voicing: &Voicing| voicing.is_close() && voicing.places().into_iter().all(|place| guitar.window.holds(place));
            let sets = string_sets(guitar.neck.strings(), false);
            let shapes: Vec<Voicing> = voicings(&guitar.neck, &triad, &sets).into_iter().filter(inside).collect();
            after.push("Triads, frets from the lowest string to the highest".to_string());
            after.extend(words::triad_table(&shapes, &triad.tones.map(|tone| tone.degree.to_string())));
        }
        let origins = scale.map_or_else(String::new, |scale| format!(" from notes of {scale}"));
        after.extend([String::new(), format!("Bends into its root, third and fifth{origins}"), words::BEND_HEAD.to_string()]);
        after.extend(self.strong_bends(chord, scale.as_ref()).iter().take(8).map(words::bend_line));
        after.extend(words::curl_advice(chord));
        if let Some((_, next)) = changes.get(number) {
            let on = distinct(self.resolving(chord, next), 4);
            if !on.is_empty() {
                after.extend([
                    String::new(),
                    format!("Bends that resolve into {next}: from a degree of {chord} to one of {next}"),
                    words::BEND_HEAD.to_string(),
                ]);
                after.extend(on.iter().map(words::bend_line));
            }
        }
        after.extend(words::effort_note(&guitar.strings));
        Ok((board, before, after))
    }
}
