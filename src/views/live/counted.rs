//! How many bends came out well, in a sentence.

use crate::grading::{Attempt, Fault, Standing, Verdict, Word};

/// `9 bends, 5 landed, 4 without a fault.`: what landed may have been held too short, or let down to another place. Over chords also how many went to a
/// tone of theirs, and how many elsewhere.
#[must_use]
pub fn counted<'a>(attempts: impl IntoIterator<Item = &'a Attempt>) -> String {
    let attempts: Vec<&Attempt> = attempts.into_iter().collect();
    let number = attempts.len();
    let landed = attempts.iter().filter(|attempt| Verdict::of(attempt).headline() == Some(Word::Landed)).count();
    // Where the card's delay is not known, that is no fault of the player's.
    let is_clean = |attempt: &&&Attempt| {
        attempt.faults.iter().all(|fault| *fault == Fault::Uncalibrated) && matches!(attempt.standing, None | Some(Standing::Chord))
    };
    let clean = attempts.iter().filter(is_clean).count();
    let all_plain = number > 0 && attempts.iter().all(|attempt| attempt.is_plain());
    let many = match (all_plain, number) {
        (true, 1) => "note",
        (true, _) => "notes",
        (false, 1) => "bend",
        (false, _) => "bends",
    };
    let text = format!("{number} {many}, {landed} landed, {clean} without a fault.");
    let of = |standing: Standing| attempts.iter().filter(|attempt| attempt.standing == Some(standing)).count();
    let (chord, scale, outside) = (of(Standing::Chord), of(Standing::Scale), of(Standing::Outside));
    let elsewhere = scale + outside;
    if chord + elsewhere == 0 {
        return text;
    }
    if chord == number {
        return format!("{text} All went to chord tones.");
    }
    let mut told = vec![format!("{chord} went to {}", if chord == 1 { "a chord tone" } else { "chord tones" })];
    if elsewhere > 0 {
        told.push(format!("{elsewhere} elsewhere: {scale} of the scale, {outside} outside"));
    }
    // A bar may have no chord.
    let over_none = match number - chord - elsewhere {
        0 => String::new(),
        none => format!(" {none} over no chord."),
    };
    format!("{text} {}.{over_none}", told.join(", "))
}
