//! What a run came to: where phrases landed, which notes were chord, scale or outside tones, how much space was left. Time against the beat follows from
//! the rows.

use super::tune::Tune;
use super::wanted::ScoreTime;
use crate::grading::{HeardNote, nearest_midi, scale_over};
use crate::theory::chart::PlayedChord;
use crate::theory::{Degree, Scale};

/// A phrase ends with this much silence at least, s, or one beat where that is longer. Common practice, no source.
const REST_S: f64 = 0.35;

/// A bend that ends by so much lower than it reached was let down, cents.
const LET_DOWN_CENTS: f64 = 50.0;

/// How many notes were which.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Shares {
    /// Tones of the chord in force.
    pub chord: usize,
    /// Other notes of the scale that fits it best.
    pub scale: usize,
    /// All others.
    pub outside: usize,
}

impl Shares {
    /// All notes counted.
    #[must_use]
    pub fn all(&self) -> usize {
        self.chord + self.scale + self.outside
    }
}

/// Where a phrase came to rest.
#[derive(Clone, Debug, PartialEq)]
pub struct Landing {
    /// The bar of the chart, from 1.
    pub bar: usize,
    /// The round, from 1.
    pub round: usize,
    /// The chord as written.
    pub chord: String,
    /// The last note's MIDI number.
    pub midi: i32,
    /// How far it is off that note, cents.
    pub cents_off: f64,
    /// Its place in the chord.
    pub degree: Option<Degree>,
    /// Its place in the scale that fits the chord, where it is no chord tone.
    pub scale_degree: Option<Degree>,
    /// It is what a bend was let down to, not what the bend reached.
    pub let_down: bool,
}

/// What a run came to.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct CameTo {
    /// Each phrase's landing, in order.
    pub landings: Vec<Landing>,
    /// What the notes were.
    pub shares: Shares,
    /// Whether any of them was bent.
    pub bent: bool,
    /// Seconds in which nothing was played, of those from the first beat of the tune to where it or the take ended.
    pub space_s: Option<(f64, f64)>,
}

impl CameTo {
    /// From all notes of a take in order; `heard_s` is how long the take is.
    #[must_use]
    pub fn of(tune: &Tune, score_time: &ScoreTime, notes: &[HeardNote], heard_s: f64) -> Self {
        let inside: Vec<Placed<'_>> = notes.iter().filter_map(|note| Placed::of(tune, score_time, note)).collect();
        let mut shares = Shares::default();
        for placed in &inside {
            match (placed.degree(placed.note.cents), placed.scale_degree(placed.note.cents)) {
                (Some(_), _) => shares.chord += 1,
                (None, Some(_)) => shares.scale += 1,
                (None, None) => shares.outside += 1,
            }
        }
        let last_s = score_time(heard_s).unwrap_or(0.0).min(tune.timeline.length_s);
        let sounded: f64 = inside.iter().map(|placed| (placed.until_s.min(last_s) - placed.from_s.max(0.0)).max(0.0)).sum();
        Self {
            landings: landings(tune, &inside),
            shares,
            bent: inside.iter().any(|placed| placed.note.bent),
            space_s: (last_s > 0.0).then(|| ((last_s - sounded).max(0.0), last_s)),
        }
    }
}

/// A note in its place in the tune.
struct Placed<'a> {
    note: &'a HeardNote,
    from_s: f64,
    until_s: f64,
    chord: &'a PlayedChord,
    scale: Scale,
}

impl<'a> Placed<'a> {
    fn of(tune: &'a Tune, score_time: &ScoreTime, note: &'a HeardNote) -> Option<Self> {
        let at = |take_s: f64| score_time(take_s);
        let (from_s, until_s, reached_s) = (at(note.onset_s)?, at(note.end_s)?, at(note.reached_s)?);
        let chord = tune.chord_for(reached_s, at(note.held_until_s)?)?;
        let scale = match &chord.chord {
            Some(sounding) => scale_over(sounding, chord.key),
            None => chord.key.scale(),
        };
        Some(Self { note, from_s, until_s, chord, scale })
    }

    fn degree(&self, cents: f64) -> Option<Degree> {
        self.chord.chord.as_ref()?.degree_of_pitch(nearest_midi(cents))
    }

    fn scale_degree(&self, cents: f64) -> Option<Degree> {
        self.scale.degree_of_pitch(nearest_midi(cents))
    }
}

/// The last note of each phrase: after it nothing is played for a beat.
fn landings(tune: &Tune, notes: &[Placed<'_>]) -> Vec<Landing> {
    let beat_s = |at_s: f64| tune.timeline.bar_at(at_s.max(0.0)).map_or(REST_S, |bar| bar.beat_s.max(REST_S));
    let ends_here = |index: &usize| match notes.get(index + 1) {
        Some(next) => next.from_s - notes[*index].until_s >= beat_s(notes[*index].until_s),
        None => true,
    };
    (0..notes.len()).filter(ends_here).map(|index| landing(tune, &notes[index])).collect()
}

fn landing(tune: &Tune, placed: &Placed<'_>) -> Landing {
    let cents = placed.note.last_cents;
    let midi = nearest_midi(cents);
    let (bar, round) = tune.place(placed.chord.bar);
    let degree = placed.degree(cents);
    Landing {
        bar,
        round,
        chord: placed.chord.text.clone(),
        midi,
        cents_off: cents - 100.0 * f64::from(midi),
        degree,
        scale_degree: placed.scale_degree(cents).filter(|_| degree.is_none()),
        let_down: placed.note.bent && placed.note.cents - cents > LET_DOWN_CENTS,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::logbook::sidecar::AskedTune;
    use crate::theory::chart::{Chart, Metre};
    use std::sync::Arc;

    fn note(onset_s: f64, end_s: f64, midi: i32) -> HeardNote {
        let cents = 100.0 * f64::from(midi) + 3.0;
        HeardNote { onset_s, end_s, reached_s: onset_s, held_until_s: end_s, cents, last_cents: cents, bent: false }
    }

    fn came_to(notes: &[HeardNote], heard_s: f64) -> CameTo {
        // Gm7 C7 F, 4 s each.
        let chart = Chart::from_chords("Gm7 C7 F", Some("F major".parse().unwrap()), Metre::common(), 60.0).unwrap();
        let tune = Tune::new(&chart, "cadence", &AskedTune::default()).unwrap();
        let straight: ScoreTime = Arc::new(Some);
        CameTo::of(&tune, &straight, notes, heard_s)
    }

    #[test]
    fn notes_are_chord_scale_or_outside_tones_of_the_chord_of_their_moment() {
        // Bb is the b3 of Gm7, over C7 a scale note (b7: a chord tone), B is outside of F major, D over C7 is a scale note.
        let run = came_to(&[note(0.0, 0.4, 70), note(4.0, 4.4, 70), note(4.5, 4.9, 74), note(8.5, 8.9, 71)], 12.0);
        assert_eq!(run.shares, Shares { chord: 2, scale: 1, outside: 1 });
    }

    #[test]
    fn each_phrase_lands_on_its_last_note_and_space_is_what_is_left() {
        let run = came_to(&[note(0.0, 0.5, 67), note(0.5, 1.0, 70), note(4.0, 4.5, 72), note(4.6, 5.6, 76)], 12.0);
        let landed: Vec<(usize, String)> =
            run.landings.iter().map(|landing| (landing.bar, landing.degree.map_or("none".into(), |degree| degree.to_string()))).collect();
        assert_eq!(landed, [(1, "b3".to_owned()), (2, "3".to_owned())]);
        assert!((run.landings[0].cents_off - 3.0).abs() < 1e-9);
        assert!(run.space_s.is_some_and(|(left, of)| (left - 9.5).abs() < 1e-9 && (of - 12.0).abs() < 1e-9));
        assert_eq!(came_to(&[], 12.0).space_s, Some((12.0, 12.0)));
    }

    #[test]
    fn a_phrase_that_ends_on_a_bend_let_down_says_so() {
        // G4 bent to A4 and back over Gm7: the phrase rests on the root, and the note counts by its top.
        let bent = HeardNote { cents: 6900.0, last_cents: 6702.0, bent: true, ..note(0.0, 1.0, 67) };
        let run = came_to(&[bent], 12.0);
        assert_eq!((run.landings[0].let_down, run.bent, run.shares.scale), (true, true, 1));
        let held = HeardNote { cents: 6900.0, last_cents: 6890.0, ..bent };
        assert!(!came_to(&[held], 12.0).landings[0].let_down);
    }
}
