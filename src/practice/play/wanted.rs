//! What is wanted of each bend: a tone of the chord in force when it arrives, on a count of the bar.

use super::tune::Tune;
use crate::grading::{Aim, Attempt, Harmony, HeardNote, Parts, Seen, Target, Tolerance, Wish, Wishes};
use crate::practice::usual::Usual;
use crate::theory::chart::PlayedChord;
use crate::theory::{Chord, Note, choice};
use std::sync::Arc;

/// Score time at an instant of the take; `None` while that is not known. Must give the same answer whenever it is asked.
pub type ScoreTime = Arc<dyn Fn(f64) -> Option<f64> + Send + Sync>;

/// Who hears of each note, bent or not.
pub type NoteTold = Arc<dyn Fn(HeardNote) + Send + Sync>;

/// What of a bend should be on the beat.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum On {
    /// Its arrival.
    #[default]
    Top,
    /// Its attack.
    Pick,
}

impl On {
    /// The word on the command line and in a sidecar.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Top => "top",
            Self::Pick => "pick",
        }
    }
}

impl std::str::FromStr for On {
    type Err = String;

    fn from_str(word: &str) -> Result<Self, String> {
        match word {
            "top" => Ok(Self::Top),
            "pick" => Ok(Self::Pick),
            other => Err(format!("{other:?} is not on the beat: it is top or pick")),
        }
    }
}

/// The wishes of a tune.
#[derive(Clone)]
pub struct PlayWishes {
    tune: Arc<Tune>,
    score_time: ScoreTime,
    told: NoteTold,
    tolerance: Tolerance,
    on: On,
    /// Whether the delay of the sound card is not known.
    uncalibrated: bool,
    usual: Usual,
}

impl PlayWishes {
    /// For one take.
    #[must_use]
    pub fn new(tune: Arc<Tune>, score_time: ScoreTime, on: On, tolerance: Tolerance) -> Self {
        Self { tune, score_time, told: Arc::new(|_| {}), tolerance, on, uncalibrated: false, usual: Usual::default() }
    }

    /// Tells each note to somebody.
    #[must_use]
    pub fn telling(mut self, told: NoteTold) -> Self {
        self.told = told;
        self
    }

    /// Marks what is measured against the beat as uncalibrated.
    #[must_use]
    pub fn uncalibrated(mut self, uncalibrated: bool) -> Self {
        self.uncalibrated = uncalibrated;
        self
    }

    /// The chord that an attempt belongs to; `None` without one.
    #[must_use]
    pub fn chord_of(&self, attempt: &Attempt) -> Option<&PlayedChord> {
        let arrival_s = attempt.measures.arrival_s?;
        self.chord_at(arrival_s, arrival_s + attempt.measures.hold_s.unwrap_or(0.0)).filter(|played| played.chord.is_some())
    }

    fn chord_at(&self, reached_s: f64, held_s: f64) -> Option<&PlayedChord> {
        self.tune.chord_for((self.score_time)(reached_s)?, (self.score_time)(held_s)?)
    }

    /// The bar of the chart in which an attempt arrives, from 1.
    #[must_use]
    pub fn bar_of(&self, attempt: &Attempt) -> Option<u32> {
        let bar = self.chord_of(attempt)?.bar;
        Some(self.tune.place(bar).0 as u32)
    }

    /// The name of a note as the chord spells it, else the scale that fits it, else the usual one.
    #[must_use]
    pub fn spell(&self, played: Option<&PlayedChord>, midi: i32) -> String {
        let in_chord = |played: &PlayedChord| played.chord.as_ref()?.tone_of_pitch(midi)?.name.at(midi);
        let in_scale = |played: &PlayedChord| match &played.chord {
            Some(chord) => choice::scales(played.key, chord).first()?.scale.spell(midi),
            None => played.key.scale().spell(midi),
        };
        let note = played.and_then(|played| in_chord(played).or_else(|| in_scale(played)));
        note.unwrap_or_else(|| Note::usual(midi)).to_string()
    }

    /// The target's place in the chord, also where it was not aimed at as a chord tone.
    #[must_use]
    pub fn degree(&self, attempt: &Attempt) -> Option<String> {
        let exact = attempt.target_cents.filter(|cents| (cents / 100.0).fract().abs() < 1e-9);
        let chord = self.chord_of(attempt).and_then(|played| played.chord.as_ref());
        let by_pitch = || chord?.degree_of_pitch((exact? / 100.0).round() as i32).map(|degree| degree.to_string());
        attempt.degree.clone().or_else(by_pitch)
    }
}

/// All octaves that a guitar can sound, and some more.
fn tones(chord: &Chord) -> Vec<Target> {
    let place = |midi: i32| Some(Target { cents: f64::from(midi) * 100.0, degree: Some(chord.degree_of_pitch(midi)?.to_string()) });
    (24..=108).filter_map(place).collect()
}

impl Wishes for PlayWishes {
    fn wish(&mut self, seen: &Seen) -> Wish {
        let reached_s = if seen.technique.is_pre_bend() { seen.onset_s } else { seen.arrival_s };
        let played = self.chord_at(reached_s, seen.held_until_s);
        let chord = played.and_then(|played| played.chord.as_ref());
        let anchor_s = if self.on == On::Top { reached_s } else { seen.onset_s };
        let count_s = (self.score_time)(anchor_s).and_then(|score_s| Some(anchor_s - (score_s - self.tune.nearest_count(score_s)?)));
        // What is bent in the count-in, for the hand alone, is in time with nothing.
        let count_s = count_s.filter(|_| played.is_some());
        Wish {
            aim: chord.map_or(Aim::Nearest, |chord| Aim::Chord(tones(chord))),
            harmony: played.and_then(|played| Some(Harmony::of(played.chord.as_ref()?, played.key))),
            arrival_beat_s: count_s.filter(|_| self.on == On::Top),
            attack_beat_s: count_s.filter(|_| self.on == On::Pick),
            usual_late_ms: self.usual.late_ms(),
            uncalibrated: self.uncalibrated,
            tolerance: self.tolerance,
            parts: Parts { pitch: 4.0, beat: 4.0, hold: 2.0, ..Parts::default() },
            ..Wish::default()
        }
    }

    fn listens(&mut self, at_s: f64) -> bool {
        let bar_s = self.tune.timeline.bars.first().map_or(0.0, |bar| bar.end_s() - bar.start_s);
        (self.score_time)(at_s).is_some_and(|score_s| score_s >= -bar_s && score_s < self.tune.timeline.length_s)
    }

    fn heard(&mut self, note: &HeardNote) {
        (self.told)(*note);
    }

    fn graded(&mut self, attempt: &Attempt) {
        self.usual.learn(attempt);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grading::Technique;
    use crate::logbook::sidecar::AskedTune;
    use crate::theory::chart::{Chart, Metre};

    /// Gm7, C7, F: a bar of 4/4 each at 60, so a chord every 4 s; the tune begins at 10 s of the take.
    fn wishes(on: On) -> PlayWishes {
        let chart = Chart::from_chords("Gm7 C7 F", Some("F major".parse().unwrap()), Metre::common(), 60.0).unwrap();
        let tune = Arc::new(Tune::new(&chart, "cadence", &AskedTune::default()).unwrap());
        PlayWishes::new(tune, Arc::new(|take_s| Some(take_s - 10.0)), on, Tolerance::default())
    }

    fn seen(arrival_s: f64, held_until_s: f64) -> Seen {
        Seen {
            attempt: 1,
            onset_s: arrival_s - 0.4,
            arrival_s,
            held_until_s,
            origin_cents: Some(6700.0),
            held_cents: 6900.0,
            technique: Technique::Bend,
            steady_origin: true,
        }
    }

    fn third_of(wish: &Wish) -> Vec<f64> {
        let Aim::Chord(tones) = &wish.aim else { return Vec::new() };
        let third = |target: &&Target| matches!(target.degree.as_deref(), Some("3" | "b3"));
        tones.iter().filter(third).map(|target| target.cents.rem_euclid(1200.0)).take(1).collect()
    }

    #[test]
    fn a_bend_aims_at_the_chord_in_force_when_it_arrives() {
        let mut wishes = wishes(On::Top);
        // Thirds: Bb over Gm7, E over C7, A over F.
        assert_eq!(third_of(&wishes.wish(&seen(12.0, 13.0))), [1000.0]);
        assert_eq!(third_of(&wishes.wish(&seen(14.1, 15.0))), [400.0]);
        assert_eq!(third_of(&wishes.wish(&seen(17.6, 18.5))), [900.0], "early and held");
        assert_eq!(third_of(&wishes.wish(&seen(17.6, 17.9))), [400.0], "early and let go");
        assert_eq!(wishes.wish(&seen(30.0, 31.0)).aim, Aim::Nearest, "the tune is over");
    }

    #[test]
    fn the_nearest_eighth_is_wanted_by_the_top_or_by_the_pick() {
        let near = |beat: Option<f64>, wanted: f64| beat.is_some_and(|beat| (beat - wanted).abs() < 1e-9);
        let wish = wishes(On::Top).wish(&seen(12.04, 13.0));
        assert!(near(wish.arrival_beat_s, 12.0) && wish.attack_beat_s.is_none());
        let wish = wishes(On::Pick).wish(&seen(12.04, 13.0));
        assert!(near(wish.attack_beat_s, 11.5) && wish.arrival_beat_s.is_none());
    }

    #[test]
    fn what_arrives_in_the_count_in_is_in_time_with_nothing() {
        let beat = |on: On, arrival_s: f64| {
            let wish = wishes(on).wish(&seen(arrival_s, arrival_s + 1.0));
            wish.arrival_beat_s.or(wish.attack_beat_s)
        };
        assert_eq!(beat(On::Top, 9.3), None);
        assert!(beat(On::Top, 9.8).is_some(), "early to the first chord, and held");
        assert!(beat(On::Pick, 10.1).is_some(), "picked in the count-in for the first chord");
    }

    #[test]
    fn notes_long_before_and_after_the_tune_are_no_attempts() {
        let mut wishes = wishes(On::Top);
        assert!(!wishes.listens(5.9) && wishes.listens(6.1) && wishes.listens(21.9) && !wishes.listens(22.1));
    }
}
