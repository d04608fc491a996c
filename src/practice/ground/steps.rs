//! From places to steps: how often and in which order, and what the notes are called as they are fingered and as they sound.

use super::super::parameters::DrillError;
use super::super::plan::{Gesture, Hear, Sounding, Step};
use super::Ground;
use crate::grading::{Parts, Technique};
use crate::theory::{Chord, Degree, Interval, Key, Note, NoteName, Place};

/// A place, how far to bend there, and what for.
#[derive(Clone, Debug)]
pub(super) struct Spot {
    pub place: Place,
    pub cents: u32,
    pub origin: Option<Note>,
    pub target: Option<Note>,
    pub chord: Option<Chord>,
}

impl Spot {
    /// With its notes called as usual.
    pub fn at(place: Place, cents: u32, chord: Option<Chord>) -> Self {
        Self { place, cents, origin: None, target: None, chord }
    }

    /// A quarter tone, or another bend that ends between two notes.
    fn ends_between_notes(&self) -> bool {
        !self.cents.is_multiple_of(100)
    }
}

impl Ground {
    /// As many attempts as are wanted, in the order that is.
    pub(super) fn laid_out(&self, spots: &[Spot]) -> Result<Vec<Step>, DrillError> {
        let each = self.number("each").filter(|each| *each > 0.0).map(|each| each as usize * spots.len());
        let attempts = self.number("attempts").map(|attempts| attempts as usize);
        let count = attempts.or(each).unwrap_or(self.numbers.set as usize);
        let mut spots: Vec<Spot> = if self.is_in_order("blocks") {
            let each = count.div_ceil(spots.len().max(1));
            spots.iter().flat_map(|spot| std::iter::repeat_n(spot, each)).take(count).cloned().collect()
        } else {
            spots.iter().cycle().take(count).cloned().collect()
        };
        if self.is_in_order("shuffled") {
            self.shuffle(&mut spots);
        }
        self.steps(&spots)
    }

    /// The same order for the same seed (SplitMix64: Steele, Lea and Flood, OOPSLA 2014; constants from memory).
    pub(super) fn shuffle<T>(&self, all: &mut [T]) {
        let mut state = self.number_or("seed", 1.0) as u64;
        let mut random = move || {
            state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
            let mut z = state;
            z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
            z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
            z ^ (z >> 31)
        };
        for last in (1..all.len()).rev() {
            all.swap(last, (random() % (last as u64 + 1)) as usize);
        }
    }

    pub(super) fn steps(&self, spots: &[Spot]) -> Result<Vec<Step>, DrillError> {
        let up = self.sounds_higher();
        spots.iter().map(|spot| self.step(spot, up)).collect()
    }

    /// From what is fingered to what sounds, spelled as the key moves: `None` where there is neither key nor chord to say. As a tune does it.
    fn sounds_higher(&self) -> Option<Interval> {
        let offset = self.neck.sounding_offset();
        let chords = [self.chords("chords"), self.chord().into_iter().collect()].concat();
        let tonic = self.key().or_else(|| Key::guess(&chords.iter().collect::<Vec<_>>()))?.tonic();
        let up = tonic.interval_to(NoteName::usual(tonic.class() + offset));
        let octaves = (offset - up.semitones).div_euclid(12);
        Some(Interval::new(up.steps + 7 * octaves, up.semitones + 12 * octaves))
    }

    fn step(&self, spot: &Spot, up: Option<Interval>) -> Result<Step, DrillError> {
        let Place { string, fret } = spot.place;
        if string > self.neck.strings() || fret > self.neck.frets() {
            let (strings, frets) = (self.neck.strings(), self.neck.frets());
            return Err(DrillError::NoPlace(format!(
                "there is no string {string}, fret {fret} on this neck of {strings} strings and {frets} frets"
            )));
        }
        let midi = self.neck.midi(spot.place);
        // Where a bend ends between two notes, the nearest one gives its name; of two, the upper one.
        let reached = midi + (f64::from(spot.cents) / 100.0).round() as i32;
        let chord = spot.chord.as_ref();
        let spelled = |midi: i32| {
            let tone = chord.and_then(|chord| chord.tone_of_pitch(midi)).and_then(|tone| tone.name.at(midi));
            tone.or_else(|| self.scale().and_then(|scale| scale.spell(midi))).unwrap_or_else(|| Note::usual(midi))
        };
        let third = |chord: &Chord| chord.root().up(Degree::new(3, -1).interval()).at(midi);
        let curled = || chord.filter(|_| spot.ends_between_notes()).and_then(third);
        let origin = spot.origin.or_else(curled).unwrap_or_else(|| spelled(midi));
        let target = spot.target.unwrap_or_else(|| spelled(reached));
        let degree = chord.and_then(|chord| {
            if spot.ends_between_notes() {
                return Self::curled_degree(chord, origin);
            }
            chord.degree_of_pitch(reached).map(|degree| degree.to_string())
        });
        Ok(Step {
            place: Some(spot.place),
            origin: origin.to_string(),
            target: target.to_string(),
            origin_cents: 100.0 * f64::from(self.neck.sounding(spot.place)),
            bend_cents: f64::from(spot.cents),
            planned_from_cents: None,
            chord: chord.map(|chord| chord.symbol().to_owned()),
            degree,
            sounding: self.sounding((origin, target), chord, up),
            gesture: if spot.cents == 0 { Gesture::Plain } else { Gesture::Bend(Technique::Bend) },
            restrike: false,
            hold_s: None,
            hold_within_s: None,
            rise_ms: None,
            beats: None,
            shake: None,
            unseen: false,
            by_ear: false,
            hear: Hear::Nothing,
            parts: Parts { pitch: 1.0, ..Parts::default() },
            tolerance: self.numbers.tolerance,
        })
    }

    /// The names as they sound, where a capo or a lower tuning makes them others.
    fn sounding(&self, (origin, target): (Note, Note), chord: Option<&Chord>, up: Option<Interval>) -> Option<Sounding> {
        let semitones = self.neck.sounding_offset();
        let moved = |note: Note| {
            let by_letter = up.map(|up| note.up(up)).filter(|note| note.name.alter.abs() <= 1);
            by_letter.unwrap_or_else(|| Note::usual(note.midi() + semitones)).to_string()
        };
        let up = up.unwrap_or(Interval::new(0, semitones));
        (semitones != 0).then(|| Sounding {
            semitones,
            origin: moved(origin),
            target: moved(target),
            chord: chord.map(|chord| chord.up(up).to_string()),
        })
    }
}
