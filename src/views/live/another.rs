//! What was played in place of what a drill asked for, in plain words.

use crate::grading::{Attempt, nearest_midi};
use crate::theory::Note;

/// Farther off than this nobody has missed a fret: it is another note altogether.
const MOST_FRETS: i32 = 2;

/// `one fret high: Ab4 to A4, not G4 to A4`; `None` of an attempt that answers a step, and outside of a drill.
#[must_use]
pub fn another(row: &Attempt) -> Option<String> {
    let asked = row.instead_of.as_ref()?;
    // Called as it is fingered, as what was asked for is.
    let higher = asked.origin.parse::<Note>().map_or(0, |note| nearest_midi(asked.origin_cents) - note.midi());
    let from = row.origin_midi().map(|from| from - higher);
    let (first, last) = (from.map(Note::usual), row.target_midi().filter(|_| !row.is_plain()).map(|last| last - higher));
    let last = last.map(|last| first.map_or_else(|| Note::usual(last), |first| Note::usual_from(first, last)));
    let played: Vec<String> = first.into_iter().chain(last).map(|note| note.to_string()).collect();
    let wanted: Vec<&str> = std::iter::once(&asked.origin).chain(&asked.target).map(String::as_str).collect();
    let frets = from.map_or(0, |from| from + higher - nearest_midi(asked.origin_cents));
    let way = if frets > 0 { "high" } else { "low" };
    let how = match frets.abs() {
        1 => format!("one fret {way}"),
        many @ 2..=MOST_FRETS => format!("{many} frets {way}"),
        _ => "another note".to_owned(),
    };
    Some(format!("{how}: {}, not {}", played.join(" to "), wanted.join(" to ")))
}
