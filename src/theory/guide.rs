//! What leads from one chord to the next: guide tones, and bends that resolve.

use super::bend::{Bend, bends, line_degree};
use super::chord::{Chord, Tone};
use super::neck::Neck;
use super::strings::StringSet;

/// The guide tones of a chord: its third and its seventh (the sixth of a sixth chord; the fifth where there is neither), which say
/// what it is. A suspended chord gives the tone that stands for the third. Common practice, no source.
#[must_use]
pub fn guide_tones(chord: &Chord) -> Vec<Tone> {
    let third = chord.tone(3).or(chord.tone(4)).or(chord.tone(2));
    let seventh = chord.tone(7).or(chord.tone(6)).or(chord.tone(5));
    third.into_iter().chain(seventh).collect()
}

/// One guide tone and where it goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Lead {
    /// The tone of the chord.
    pub from: Tone,
    /// The nearest guide tone or root of the next chord.
    pub to: Tone,
    /// Semitones, -6 to 6; 0 where it stays.
    pub semitones: i32,
}

/// How each guide tone moves into the next chord: to its nearest guide tone, or its root where that is nearer; down rather than up
/// where both are as near.
#[must_use]
pub fn leads(chord: &Chord, next: &Chord) -> Vec<Lead> {
    let mut goals = guide_tones(next);
    goals.extend(next.tone(1));
    guide_tones(chord)
        .into_iter()
        .filter_map(|from| {
            let moves = goals.iter().map(|to| {
                let up = (to.name.class() - from.name.class()).rem_euclid(12);
                Lead { from, to: *to, semitones: if up > 6 { up - 12 } else { up } }
            });
            moves.min_by_key(|lead| (lead.semitones.abs(), lead.semitones > 0))
        })
        .collect()
}

/// Bends of 100 and 200 cents from a tone of this chord into a strong tone (1, 3, 5) of the next one that this chord does not have: the
/// ear hears the change. `from` is the origin's degree in this chord, `degree` the target's in the next; the easiest first.
#[must_use]
pub fn resolving_bends(neck: &Neck, strings: &StringSet, chord: &Chord, next: &Chord) -> Vec<Bend> {
    let strong = next.strong();
    bends(neck, strings, next, None, &[100, 200])
        .into_iter()
        .filter(|bend| strong.iter().any(|tone| tone.degree == bend.degree))
        .filter(|bend| chord.tone_of_pitch(bend.target.midi()).is_none())
        .filter_map(|bend| {
            let origin = chord.tone_of_pitch(bend.origin.midi())?.name.at(bend.origin.midi())?;
            Some(Bend { origin, from: line_degree(chord, origin), ..bend })
        })
        .collect()
}
