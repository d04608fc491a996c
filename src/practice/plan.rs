//! A drill laid out: every step that will be asked for, before the first note.

use crate::grading::{Aim, AskedFor, Parts, Seen, Target, Technique, Tolerance, Wish};
use crate::theory::chart::Metre;
use crate::theory::{Interval, Note, Place};

/// What the hands do in a step.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Gesture {
    /// A bend of one of the four kinds.
    Bend(Technique),
    /// A fretted note, not bent.
    Plain,
}

/// What is heard before an attempt.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Hear {
    /// Nothing.
    #[default]
    Nothing,
    /// The note to reach, from landfall.
    Target,
    /// The note to reach, fretted by the player at this place.
    Fretted(Place),
}

/// Where the beats of a step lie.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Beats {
    /// Beats a minute.
    pub tempo: f64,
    /// Beats from the pick to the top; `None`: the top is wanted at once, the pick on the beat.
    pub rise: Option<f64>,
}

impl Beats {
    /// Seconds from beat to beat.
    #[must_use]
    pub fn beat_s(self) -> f64 {
        60.0 / self.tempo
    }
}

/// What is wanted of a vibrato.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shake {
    /// Half width in cents, least and most.
    pub cents: (f64, f64),
    /// Rate in hertz, least and most.
    pub hz: (f64, f64),
    /// Seconds held straight before it.
    pub straight_s: f64,
    /// Seconds that it lasts.
    pub shaken_s: f64,
}

impl Shake {
    /// Seconds that both take.
    #[must_use]
    pub fn hold_s(self) -> f64 {
        self.straight_s + self.shaken_s
    }
}

/// What is fingered, as it sounds with a capo or on a guitar tuned lower than it is called: rows say this, the page says what is fingered.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Sounding {
    /// Semitones from what is fingered to what sounds.
    pub semitones: i32,
    /// The fretted note's name.
    pub origin: String,
    /// The name of the note to reach.
    pub target: String,
    /// The chord.
    pub chord: Option<String>,
}

/// One thing to play; notes and chord are called as they are fingered.
#[derive(Clone, Debug, PartialEq)]
pub struct Step {
    /// Where; `None`: the player finds it.
    pub place: Option<Place>,
    /// The fretted note's name.
    pub origin: String,
    /// The name of the note to reach; where a bend ends between two notes, of the nearest one, of two of the upper one.
    pub target: String,
    /// The fretted pitch, cents on the MIDI scale, as it sounds.
    pub origin_cents: f64,
    /// How far to bend; 0 for a plain note.
    pub bend_cents: f64,
    /// The fretted pitch as planned, where the bend was made smaller: whoever bends from there all the same has done no less.
    pub planned_from_cents: Option<f64>,
    /// The chord.
    pub chord: Option<String>,
    /// The target's place in it; of a quarter curl from the b3, where it starts.
    pub degree: Option<String>,
    /// What it is called as it sounds, where that differs.
    pub sounding: Option<Sounding>,
    /// What the hands do.
    pub gesture: Gesture,
    /// Whether the note is picked again after the release.
    pub restrike: bool,
    /// Seconds to hold.
    pub hold_s: Option<f64>,
    /// How much shorter or longer a hold that is counted in beats may be, s.
    pub hold_within_s: Option<f64>,
    /// Longest rise, ms.
    pub rise_ms: Option<f64>,
    /// Beats.
    pub beats: Option<Beats>,
    /// Vibrato.
    pub shake: Option<Shake>,
    /// No moving pitch before the note is over.
    pub unseen: bool,
    /// How far is not told: the ear finds it.
    pub by_ear: bool,
    /// What is heard first.
    pub hear: Hear,
    /// What counts.
    pub parts: Parts,
    /// How far off is right.
    pub tolerance: Tolerance,
}

/// A whole drill.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// As the player calls it.
    pub name: String,
    /// Its heading.
    pub title: String,
    /// What to do, in one sentence.
    pub lead: String,
    /// All steps, in order.
    pub steps: Vec<Step>,
    /// Steps in a set.
    pub set: u32,
    /// Seconds of rest between two sets.
    pub rest_s: f64,
    /// The bars that its beats are counted in.
    pub metre: Metre,
    /// The neck's highest fret.
    pub frets: u8,
}

/// How near an attempt must be to belong to a step, cents: farther off at both ends is another note.
pub const NEAR_CENTS: f64 = 80.0;

/// A bend that starts farther than this from where it should is from another fret, cents: another bend, wherever it ends.
pub const OTHER_FRET_CENTS: f64 = 50.0;

/// A hold that is counted in beats may be shorter or longer by so many.
const HOLD_OFF_BEATS: f64 = 0.25;

/// A bend made before the pick is heard at its top alone: so much of its size may be missing.
const SHORT_SHARE: f64 = 0.6;

/// Where a quarter curl from a note ends: at no other note.
#[must_use]
pub fn a_bit_over(origin: &str) -> String {
    format!("{origin} and a bit")
}

impl Step {
    /// The pitch to reach, cents on the MIDI scale.
    #[must_use]
    pub fn target_cents(&self) -> f64 {
        self.origin_cents + self.bend_cents
    }

    /// What is to be reached, in words: a quarter tone up is no note.
    #[must_use]
    pub fn target_words(&self) -> String {
        if (self.bend_cents - 50.0).abs() < 1.0 { a_bit_over(&self.origin) } else { self.target.clone() }
    }

    /// The same step, to be held for so many of its beats.
    #[must_use]
    pub fn held_for(self, beats: f64, of: Beats) -> Self {
        Self { hold_s: Some(beats * of.beat_s()), hold_within_s: Some(HOLD_OFF_BEATS * of.beat_s()), ..self }
    }

    /// The same note to reach from so many frets higher on its string: a smaller bend. Without a place there is nothing to go up from.
    #[must_use]
    pub fn from_higher(&self, frets: u8) -> Self {
        let Some(place) = self.place else { return self.clone() };
        let up_cents = 100.0 * f64::from(frets);
        let origin_cents = self.origin_cents + up_cents;
        let sounds = (origin_cents / 100.0).round() as i32;
        Self {
            place: Some(Place { fret: place.fret + frets, ..place }),
            origin: below(&self.target, sounds - self.sounding.as_ref().map_or(0, |sounding| sounding.semitones)),
            origin_cents,
            sounding: self.sounding.as_ref().map(|named| Sounding { origin: below(&named.target, sounds), ..named.clone() }),
            bend_cents: self.bend_cents - up_cents,
            planned_from_cents: Some(self.planned_from_cents.unwrap_or(self.origin_cents)),
            ..self.clone()
        }
    }

    /// The step as it was answered by an attempt from this fretted pitch (cents on the MIDI scale): made smaller, or as planned.
    #[must_use]
    pub fn answered_from(&self, origin_cents: Option<f64>) -> Self {
        let up = origin_cents.map_or(0, |origin| ((origin - self.origin_cents) / 100.0).round() as i32);
        match u8::try_from(up) {
            Ok(frets @ 1..) if 100.0 * f64::from(frets) < self.bend_cents => self.from_higher(frets),
            _ => self.clone(),
        }
    }

    /// Which of the fretted pitches that it may be bent from is meant by one that was heard.
    fn origin_near(&self, heard_cents: Option<f64>) -> f64 {
        let off = |origin: f64| heard_cents.map_or(0.0, |heard| (heard - origin).abs());
        self.planned_from_cents.filter(|planned| off(*planned) < off(self.origin_cents)).unwrap_or(self.origin_cents)
    }

    /// Whether it asks for a bend made before the pick.
    #[must_use]
    pub fn is_pre_bend(&self) -> bool {
        matches!(self.gesture, Gesture::Bend(technique) if technique.is_pre_bend())
    }

    /// What it asks for, by name.
    #[must_use]
    pub fn asked(&self) -> AskedFor {
        let target = Some(self.target_words()).filter(|_| !self.by_ear && self.gesture != Gesture::Plain);
        AskedFor { origin: self.origin.clone(), origin_cents: self.origin_cents, target }
    }

    /// Whether what was seen may be meant for it; what starts from another fret, or is far off at both ends, is something else.
    #[must_use]
    pub fn is_meant_by(&self, seen: &Seen) -> bool {
        let off = |origin: f64| (origin - self.origin_near(Some(origin))).abs();
        let starts = seen.origin_cents.filter(|_| seen.steady_origin && self.place.is_some() && self.gesture != Gesture::Plain);
        if starts.is_some_and(|origin| off(origin) > OTHER_FRET_CENTS) {
            return false;
        }
        let held = (seen.held_cents - self.target_cents()).abs();
        let missing = match (self.by_ear, self.gesture) {
            (true, _) => 150.0,
            (_, Gesture::Plain) => 60.0,
            _ if self.is_pre_bend() => (SHORT_SHARE * self.bend_cents).min(120.0),
            _ => NEAR_CENTS,
        };
        let started = seen.origin_cents.is_some_and(|origin| off(origin) <= NEAR_CENTS);
        started && self.gesture != Gesture::Plain || held <= missing
    }

    /// What is wanted of an attempt that was seen. The pick is a beat, and the others are counted from it.
    #[must_use]
    pub fn wish(&self, number: u32, seen: &Seen) -> Wish {
        let technique = match self.gesture {
            Gesture::Bend(technique) => Some(technique),
            Gesture::Plain => None,
        };
        let beat_s = self.beats.map(Beats::beat_s);
        let rise = self.beats.and_then(|beats| beats.rise);
        let arrival = rise.zip(beat_s).map(|(rise, beat_s)| seen.onset_s + rise * beat_s);
        Wish {
            origin: Some(self.origin_near(seen.origin_cents)),
            aim: Aim::Pitch(Target { cents: self.target_cents(), degree: self.degree.clone() }),
            technique,
            arrival_beat_s: arrival.filter(|_| self.parts.beat > 0.0),
            beat_s,
            hold_s: self.hold_s,
            hold_within_s: self.hold_within_s,
            rise_ms: self.rise_ms,
            shake_cents: self.shake.map(|shake| shake.cents),
            shake_hz: self.shake.map(|shake| shake.hz),
            straight_s: self.shake.map(|shake| shake.straight_s),
            shaken_s: self.shake.map(|shake| shake.shaken_s),
            shake_from_fret: self.shake.is_some() && self.gesture == Gesture::Plain,
            step: Some(number),
            tolerance: self.tolerance,
            parts: self.parts,
            ..Wish::default()
        }
    }
}

/// The name of a note with this MIDI number that is bent up to another: spelled from there, so that a half step is `G#4` to `A4`.
fn below(target: &str, midi: i32) -> String {
    let usual = Note::usual(midi);
    let spelled = target.parse::<Note>().ok().map(|target| {
        let semitones = target.midi() - midi;
        target.up(Interval::new(-(semitones + 1) / 2, -semitones))
    });
    spelled.filter(|note| usual.name.alter != 0 && note.name.alter.abs() == 1).unwrap_or(usual).to_string()
}

impl Plan {
    /// Which set a step is in, from 0, and its place there, from 0.
    #[must_use]
    pub fn in_set(&self, index: usize) -> (usize, usize) {
        let set = self.set.max(1) as usize;
        (index / set, index % set)
    }

    /// Whether a step is the first or the last of its set.
    #[must_use]
    pub fn is_at_an_end(&self, index: usize) -> bool {
        let place = self.in_set(index).1;
        place == 0 || place + 1 == self.set as usize || index + 1 == self.steps.len()
    }
}
