//! The bass: the chord's bass note where the chord begins, then its fifth (in swing its third too), and a half step into the next root.

use super::{Bar, Entry, Motion, Struck};
use crate::sound::out::Voice;
use crate::theory::{Chord, NoteName};

/// E1, the lowest string of a bass.
pub(super) const LOWEST: i32 = 28;
/// No bass note is higher.
pub(super) const HIGHEST: i32 = 43;

const GAIN: f32 = 0.55;

/// What the bass plays in a bar.
pub(super) fn line(bar: &Bar<'_>) -> Vec<Struck> {
    let mut notes = Vec::new();
    for entry in &bar.entries {
        if let Some(chord) = entry.chord {
            notes.extend(under(bar, entry, chord));
        }
    }
    notes
}

fn under(bar: &Bar<'_>, entry: &Entry<'_>, chord: &Chord) -> Vec<Struck> {
    let root = low(chord.bass());
    let tone = |number: u8| chord.tone(number).map_or(root, |tone| above(root, tone.name));
    let (first, beats) = (f64::from(entry.beat), entry.beats);
    let end = first + f64::from(beats);
    let approach = entry.next.map(|next| into(low(next.bass())));
    // Positions and pitches; each lasts until the next.
    let mut steps: Vec<(f64, i32)> = vec![(first, root)];
    match bar.motion() {
        Motion::Swung => {
            for beat in 1..beats {
                let last = beat + 1 == beats;
                let inner = if beats > 3 && beat == 1 { tone(3) } else { tone(5) };
                steps.push((first + f64::from(beat), approach.filter(|_| last).unwrap_or(inner)));
            }
        }
        Motion::Straight => {
            if beats >= 3 {
                steps.push((first + f64::from(beats / 2).max(1.0), tone(5)));
            }
            if beats >= 2
                && let Some(approach) = approach
            {
                steps.push((end - 0.5, approach));
            }
        }
        Motion::Compound => {
            if beats >= 3 {
                steps.push((first + f64::from(beats / 2), tone(5)));
            }
            if let Some(approach) = approach {
                steps.push((end - 1.0 / 3.0, approach));
            }
        }
        Motion::Groups => {
            let starts = (entry.beat + 1..entry.beat + beats).filter(|beat| bar.pulse.metre.is_group_start(*beat));
            steps.extend(starts.enumerate().map(|(group, beat)| (f64::from(beat), if group % 2 == 0 { tone(5) } else { root })));
        }
    }
    let ends: Vec<f64> = steps.iter().skip(1).map(|(position, _)| *position).chain([end]).collect();
    let note = |(&(position, midi), &until): (&(f64, i32), &f64)| Struck { position, until, voice: Voice::Bass, midi, gain: GAIN };
    steps.iter().zip(&ends).map(note).collect()
}

/// A note name in the lowest octave of the bass.
fn low(name: NoteName) -> i32 {
    LOWEST + (name.class() - LOWEST).rem_euclid(12)
}

/// A note name above a root, or below where that is too high.
fn above(root: i32, name: NoteName) -> i32 {
    let up = root + (name.class() - root).rem_euclid(12);
    if up > HIGHEST { up - 12 } else { up }
}

/// Half a step below a root, or above where there is nothing below.
fn into(root: i32) -> i32 {
    if root > LOWEST { root - 1 } else { root + 1 }
}
