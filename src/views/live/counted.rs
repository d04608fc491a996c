//! How many bends came out well, in a sentence.

use super::figures;
use crate::grading::{Attempt, Standing};

/// `9 bends, 5 landed and held.`; over chords also how many went to a tone of theirs, and how many elsewhere.
#[must_use]
pub fn counted<'a>(attempts: impl IntoIterator<Item = &'a Attempt>) -> String {
    let attempts: Vec<&Attempt> = attempts.into_iter().collect();
    let number = attempts.len();
    let landed = attempts.iter().filter(|attempt| figures::words(attempt) == "landed").count();
    let all_plain = number > 0 && attempts.iter().all(|attempt| attempt.is_plain());
    let many = match (all_plain, number) {
        (true, 1) => "note",
        (true, _) => "notes",
        (false, 1) => "bend",
        (false, _) => "bends",
    };
    let text = format!("{number} {many}, {landed} landed and held.");
    let of = |standing: Standing| attempts.iter().filter(|attempt| attempt.standing == Some(standing)).count();
    let (chord, scale, outside) = (of(Standing::Chord), of(Standing::Scale), of(Standing::Outside));
    match (chord, scale + outside) {
        (0, 0) => text,
        (_, 0) if chord == number => format!("{text} All went to chord tones."),
        (_, elsewhere) => format!("{text} {chord} went to chord tones, {elsewhere} elsewhere: {scale} of the scale, {outside} outside."),
    }
}
