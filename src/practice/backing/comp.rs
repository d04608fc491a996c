//! The chords: up to four tones close together, moved as little as can be from one chord to the next.

use super::{Bar, Entry, Motion, Struck};
use crate::sound::out::Voice;
use crate::theory::{Chord, Tone};

/// D3, under which chords are mud.
const LOWEST: i32 = 50;
/// A4, over which they are in the soloist's way.
const HIGHEST: i32 = 69;
/// Where the middle of a chord lies best: E3 to A3.
const MIDDLE: f64 = 58.5;
/// From the lowest to the highest tone at most.
const WIDEST: i32 = 16;
/// Tones at most.
const MOST: usize = 4;

const GAIN: f32 = 0.16;

/// The tones that say what a chord is: of more than four, fifth, root and ninth go first, in this order; altered ones stay.
fn telling(chord: &Chord) -> Vec<Tone> {
    let mut tones = chord.tones().to_vec();
    for plain in [5, 1, 9, 11] {
        if tones.len() > MOST {
            tones.retain(|tone| tone.degree.number != plain || tone.degree.alter != 0);
        }
    }
    tones.truncate(MOST);
    tones
}

/// A chord as it is held: MIDI numbers, lowest first, the nearest to what was held before.
#[must_use]
pub fn voicing(chord: &Chord, before: &[i32]) -> Vec<i32> {
    let mut ways: Vec<Vec<i32>> = vec![Vec::new()];
    for tone in telling(chord) {
        let places: Vec<i32> = (LOWEST..=HIGHEST).filter(|midi| midi.rem_euclid(12) == tone.name.class()).collect();
        ways = ways.iter().flat_map(|way| places.iter().map(|midi| way.iter().copied().chain([*midi]).collect())).collect();
    }
    for way in &mut ways {
        way.sort_unstable();
    }
    ways.into_iter().min_by(|a, b| cost(a, before).total_cmp(&cost(b, before)).then_with(|| a.cmp(b))).unwrap_or_default()
}

/// How far a voicing lies from the one before, and from where it sounds well.
fn cost(way: &[i32], before: &[i32]) -> f64 {
    let (Some(low), Some(high)) = (way.first(), way.last()) else { return f64::INFINITY };
    let nearest = |from: i32, others: &[i32]| others.iter().map(|other| (other - from).abs()).min().unwrap_or(0);
    let moved: i32 =
        way.iter().map(|midi| nearest(*midi, before)).sum::<i32>() + before.iter().map(|midi| nearest(*midi, way)).sum::<i32>();
    let too_wide = (high - low - WIDEST).max(0);
    // Half a step at the bottom grinds.
    let grinds = way.windows(2).take(1).filter(|pair| pair[1] - pair[0] < 2).count();
    let centre = way.iter().map(|midi| f64::from(*midi)).sum::<f64>() / way.len() as f64;
    f64::from(moved) + 4.0 * f64::from(too_wide) + 3.0 * grinds as f64 + 0.3 * (centre - MIDDLE).abs()
}

/// What the chords play in a bar.
pub(super) fn strokes(bar: &Bar<'_>) -> Vec<Struck> {
    let mut strokes = Vec::new();
    for entry in bar.entries.iter().filter(|entry| entry.chord.is_some()) {
        for (position, until, gain) in rhythm(bar, entry) {
            let note = |midi: &i32| Struck { position, until, voice: Voice::Comp, midi: *midi, gain: gain * GAIN };
            strokes.extend(entry.voicing.iter().map(note));
        }
    }
    strokes
}

/// Position, end and loudness of each stroke, in beats of the bar.
fn rhythm(bar: &Bar<'_>, entry: &Entry<'_>) -> Vec<(f64, f64, f32)> {
    let (first, beats) = (f64::from(entry.beat), f64::from(entry.beats));
    let end = first + beats;
    let busy = bar.chance.is_multiple_of(2);
    match bar.motion() {
        // One, and the swung half before three.
        Motion::Swung if entry.beats >= 2 => vec![(first, first + 0.9, 1.0), (first + 1.5, first + 1.9, 0.8)],
        Motion::Straight if entry.beats >= 4 && busy => {
            vec![(first, first + beats / 2.0, 1.0), (first + beats / 2.0, end, 0.75)]
        }
        Motion::Compound if entry.beats >= 4 && busy => {
            vec![(first, first + 2.0 - 1.0 / 3.0, 1.0), (first + 2.0 - 1.0 / 3.0, end, 0.7)]
        }
        Motion::Groups => {
            let mut starts: Vec<f64> = vec![first];
            let inside = (entry.beat + 1..entry.beat + entry.beats).filter(|beat| bar.pulse.metre.is_group_start(*beat));
            starts.extend(inside.map(f64::from));
            let ends: Vec<f64> = starts.iter().skip(1).copied().chain([end]).collect();
            starts.iter().zip(ends).map(|(start, end)| (*start, end, if *start > first { 0.7 } else { 1.0 })).collect()
        }
        _ => vec![(first, end, 1.0)],
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn held(symbols: &str) -> Vec<Vec<i32>> {
        let mut before = Vec::new();
        let hold = |symbol: &str| {
            before = voicing(&Chord::parse(symbol).unwrap(), &before);
            before.clone()
        };
        symbols.split(' ').map(hold).collect()
    }

    #[test]
    fn every_note_is_a_tone_of_its_chord_and_third_and_seventh_are_there() {
        for symbol in "C Dm7 G7 Cmaj7 F#m7b5 B7b9 Ebdim7 A7alt G13 Fmaj9 Dsus4 E7#9 Am6 C6/9 Bbaug N/A".split(' ').take(15) {
            let chord = Chord::parse(symbol).unwrap();
            let notes = voicing(&chord, &[]);
            assert!(notes.iter().all(|midi| chord.tone_of_pitch(*midi).is_some()), "{symbol}: {notes:?}");
            let has = |number: u8| chord.tone(number).is_none_or(|tone| notes.iter().any(|midi| midi.rem_euclid(12) == tone.name.class()));
            assert!(has(3) && has(7), "{symbol}: {notes:?}");
            assert!(notes.len() >= 3 && notes.len() <= MOST && notes.is_sorted(), "{symbol}: {notes:?}");
        }
    }

    #[test]
    fn chords_of_a_cadence_move_by_steps() {
        for way in ["Dm7 G7 Cmaj7", "Gm7 C7 Fmaj7 Bbmaj7 Em7b5 A7b9 Dm", "E C#m7 A B7"] {
            for pair in held(way).windows(2) {
                let nearest = |midi: &i32| pair[0].iter().map(|other| (other - midi).abs()).min().unwrap();
                assert!(pair[1].iter().all(|midi| nearest(midi) <= 3), "{way}: {pair:?}");
            }
        }
    }
}
