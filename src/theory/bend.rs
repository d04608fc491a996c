//! Bends into chord tones, the easiest first.

use super::chord::Chord;
use super::degree::Degree;
use super::interval::Interval;
use super::neck::{Neck, Place};
use super::note::Note;
use super::scale::Scale;
use super::strings::{Push, StringSet};
use std::fmt;

/// A bend that reaches a chord tone.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bend {
    /// Where to fret.
    pub place: Place,
    /// The note fretted, spelled as in the scale.
    pub origin: Note,
    /// The note reached, spelled as in the chord.
    pub target: Note,
    /// How far, in cents.
    pub cents: u32,
    /// The target's degree in the chord.
    pub degree: Degree,
    /// The origin's degree over the chord's root, a 2 called 9 as players do.
    pub from: Degree,
    /// How it lies for the hand.
    pub ease: Ease,
    /// An estimate of what it takes; `None` where no neck is wide enough.
    pub push: Option<Push>,
    /// Which way the string goes.
    pub way: Way,
}

/// How a bend lies for the hand. Common practice, no source.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Ease {
    /// Plain string 1 to 3, frets 5 to 15 (300 cents: 7 to 15).
    Easy,
    /// A plain string elsewhere, or a half bend on a wound one.
    Firm,
    /// A whole bend under fret 5 or on a wound string, 300 cents outside frets 7 to 15.
    Hard,
    /// More than 300 cents, 300 on a wound string, or what no neck is wide enough for: only when asked for.
    Rare,
}

impl fmt::Display for Ease {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::Easy => "easy",
            Self::Firm => "firm",
            Self::Hard => "hard",
            Self::Rare => "rare",
        })
    }
}

/// Which way a string is moved; the pitch rises either way. Common practice, no source.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Way {
    /// Towards the lower strings.
    Push,
    /// Either way.
    Either,
    /// Towards the higher strings.
    Pull,
}

impl Way {
    /// The way for a string: 1 and 2 pushed, 5 and lower pulled, 3 and 4 either way.
    #[must_use]
    pub fn of(string: u8) -> Self {
        match string {
            0..=2 => Self::Push,
            3 | 4 => Self::Either,
            _ => Self::Pull,
        }
    }
}

impl fmt::Display for Way {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::Push => "push",
            Self::Either => "either",
            Self::Pull => "pull",
        })
    }
}

/// What a bend is called: `half`, `whole`, `one-and-a-half`, `two`.
#[must_use]
pub fn size_name(cents: u32) -> String {
    match cents {
        50 => "quarter".to_string(),
        100 => "half".to_string(),
        200 => "whole".to_string(),
        300 => "one-and-a-half".to_string(),
        400 => "two".to_string(),
        other => format!("{other} cents"),
    }
}

/// How a bend of a size at a place lies for the hand.
#[must_use]
pub fn ease(neck: &Neck, strings: &StringSet, place: Place, cents: u32) -> Ease {
    let wound = strings.gauge(place.string).is_none_or(|gauge| gauge.wound);
    // Near the nut the string is short behind the finger, so the capo counts; up the neck the body is in the way, so it does not.
    let (from_nut, real) = (place.fret, place.fret + neck.capo());
    let lowest = if cents > 200 { 7 } else { 5 };
    let in_reach = from_nut >= lowest && real <= 15;
    if cents > 300 || wound && cents > 200 || strings.push(neck, place, f64::from(cents)).is_none() {
        Ease::Rare
    } else if wound && cents > 100 || cents > 200 && !in_reach || cents > 100 && from_nut < 5 {
        Ease::Hard
    } else if wound || !in_reach || place.string > 3 {
        Ease::Firm
    } else {
        Ease::Easy
    }
}

/// Every bend of the given sizes from fret 1 up that reaches a tone of the chord, from a note of the scale or, without one, from any
/// note. Sorted by ease, then size, then the force it takes; equal ones by string and fret.
#[must_use]
pub fn bends(neck: &Neck, strings: &StringSet, chord: &Chord, scale: Option<&Scale>, sizes: &[u32]) -> Vec<Bend> {
    let mut found = Vec::new();
    for place in neck.places().filter(|place| place.fret > 0) {
        let midi = neck.midi(place);
        if scale.is_some_and(|scale| !scale.contains(midi)) {
            continue;
        }
        // Only whole semitones lead from a fret to a note.
        for &cents in sizes.iter().filter(|cents| **cents > 0 && **cents % 100 == 0) {
            let reached = midi + (cents / 100).cast_signed();
            let Some(tone) = chord.tone_of_pitch(reached) else { continue };
            let Some(target) = tone.name.at(reached) else { continue };
            let origin = scale.and_then(|scale| scale.spell(midi)).unwrap_or_else(|| spell_below(chord, midi, target, cents));
            found.push(Bend {
                place,
                origin,
                target,
                cents,
                degree: tone.degree,
                from: line_degree(chord, origin),
                ease: ease(neck, strings, place, cents),
                push: strings.push(neck, place, f64::from(cents)),
                way: Way::of(place.string),
            });
        }
    }
    let force = |bend: &Bend| bend.push.map_or(f64::INFINITY, |push| push.newtons);
    found.sort_by(|a, b| {
        let by = |bend: &Bend| (bend.ease, bend.cents);
        by(a).cmp(&by(b)).then(force(a).total_cmp(&force(b))).then(a.place.cmp(&b.place))
    });
    found
}

/// A note under a target with no scale to spell it: a chord tone as the chord has it, else a letter below (two for a third).
fn spell_below(chord: &Chord, midi: i32, target: Note, cents: u32) -> Note {
    if let Some(note) = chord.tone_of_pitch(midi).and_then(|tone| tone.name.at(midi)) {
        return note;
    }
    let semitones = (cents / 100).cast_signed();
    let below = target.up(-Interval::new(Degree::usual(semitones).interval().steps, semitones));
    if below.name.alter.abs() > 1 { Note::usual(midi) } else { below }
}

/// The degree of a note over a chord as lines are told: the chord's own, else counted by letter, a 2 called 9.
#[must_use]
pub fn line_degree(chord: &Chord, note: Note) -> Degree {
    if let Some(degree) = chord.degree_of_pitch(note.midi()) {
        return degree;
    }
    match Degree::of(chord.root().interval_to(note.name)) {
        Degree { number: 2, alter } => Degree::new(9, alter),
        other if other.alter.abs() <= 1 => other,
        _ => Degree::usual(note.midi() - chord.root().class()),
    }
}
