//! What a player asked for, as a wish for each attempt: free play, towards a chord, a note, or a size of bend.

use super::course::{Course, Follower};
use super::drills::Chosen;
use super::in_time::InTime;
use super::parameters::{DrillError, stage};
use super::tour::{self, Tour};
use crate::grading::{Aim, Attempt, Harmony, Parts, Seen, Target, Technique, Told, Tolerance, Wish, Wishes};
use crate::logbook::sidecar::{Asked, Telling};
use crate::logbook::{Row, Setting};
use crate::theory::{Chord, Note, NoteName};
use std::sync::Arc;

/// The sizes of bends by their names, in cents.
pub const SIZES: &[(&str, f64)] = &[("quarter", 50.0), ("half", 100.0), ("whole", 200.0), ("one-and-a-half", 300.0), ("two", 400.0)];

/// What was asked cannot be.
#[derive(Debug, PartialEq, thiserror::Error)]
pub enum AskedError {
    /// No chord.
    #[error("{0}")]
    Chord(String),
    /// No note.
    #[error("{0:?} is no note to bend to; write it as A4, or as A for the nearest one")]
    Target(String),
    /// No technique.
    #[error("{0}")]
    Technique(String),
    /// No drill, or not with these values.
    #[error(transparent)]
    Drill(#[from] DrillError),
}

/// What is wanted of every attempt of a take. Answers from what was asked alone.
#[derive(Clone, Debug)]
pub struct Wanted {
    wish: Wish,
    chord: Option<Chord>,
    target: Option<Wanting>,
    /// The steps of the demonstration.
    tour: Option<Tour>,
    /// The way through a drill.
    course: Option<Course>,
}

#[derive(Clone, Copy, Debug)]
enum Wanting {
    Note(Note),
    /// In any octave.
    Name(NoteName),
}

impl Wanted {
    /// Reads what was asked.
    ///
    /// # Errors
    /// The word that means nothing.
    pub fn of(asked: &Asked, tolerance: Tolerance) -> Result<Self, AskedError> {
        let tour = asked.drill.as_ref().filter(|drill| *drill == tour::NAME).map(|_| Tour::ballad());
        let course = match asked.drill.as_ref().filter(|drill| *drill != "free" && tour.is_none()) {
            Some(drill) => Some(course(drill, asked, tolerance)?),
            None => None,
        };
        let chord = asked.chord.as_deref().map(Chord::parse).transpose().map_err(|error| AskedError::Chord(error.to_string()))?;
        let target = asked.target.as_deref().map(target).transpose()?;
        let technique = asked.technique.as_deref().map(str::parse::<Technique>).transpose().map_err(AskedError::Technique)?;
        let aim = match (asked.bend_cents, &chord) {
            (Some(cents), _) => Aim::Above(cents),
            (None, Some(chord)) => Aim::Chord(tones(chord)),
            (None, None) => Aim::Nearest,
        };
        let parts = Parts { release: if technique.is_some_and(Technique::is_released) { 4.0 } else { 2.0 }, ..Parts::free() };
        let harmony = chord.as_ref().and_then(Harmony::of_chord_alone);
        Ok(Self { wish: Wish { aim, harmony, technique, tolerance, parts, ..Wish::default() }, chord, target, tour, course })
    }

    /// The name of a note: as the chord spells it, else the usual one.
    #[must_use]
    pub fn spell(&self, midi: i32) -> String {
        self.spell_from(None, midi)
    }

    /// The same for a note of a bend from the origin with this MIDI number.
    fn spell_from(&self, origin: Option<i32>, midi: i32) -> String {
        let asked = match self.target {
            Some(Wanting::Note(note)) => note.name.at(midi),
            Some(Wanting::Name(name)) => name.at(midi),
            None => None,
        };
        let in_chord = || self.chord.as_ref().and_then(|chord| chord.tone_of_pitch(midi)).and_then(|tone| tone.name.at(midi));
        let usual = || origin.map_or_else(|| Note::usual(midi), |origin| Note::usual_from(Note::usual(origin), midi));
        asked.or_else(in_chord).unwrap_or_else(usual).to_string()
    }

    /// The target's place in the chord, also where a note or a size was asked for.
    #[must_use]
    pub fn degree(&self, attempt: &Attempt) -> Option<String> {
        let exact = attempt.target_cents.filter(|cents| (cents / 100.0).fract().abs() < 1e-9);
        let by_pitch = || self.chord.as_ref()?.degree_of_pitch((exact? / 100.0).round() as i32).map(|degree| degree.to_string());
        attempt.degree.clone().or_else(by_pitch)
    }
}

impl Wanted {
    /// The same drill beside a click whose beats are known.
    #[must_use]
    pub fn in_time(self, in_time: Option<InTime>) -> Self {
        Self { course: self.course.map(|course| course.in_time(in_time)), ..self }
    }

    /// The way through the drill, where one is played.
    #[must_use]
    pub fn course(&self) -> Option<&Course> {
        self.course.as_ref()
    }

    /// The same for the eye, which asks about an attempt while it sounds.
    #[must_use]
    pub fn for_the_eye(&self) -> Box<dyn Wishes + Send> {
        match &self.course {
            Some(course) => Box::new(Follower::of(course.clone())),
            None => Box::new(self.clone()),
        }
    }

    /// The row of an attempt: spelled as the step or the chord has it, with the place that was asked for.
    #[must_use]
    pub fn row(&self, attempt: &Attempt, setting: &Setting) -> Row {
        let step = attempt.step.and_then(|step| self.course.as_ref()?.plan().steps.get(step as usize - 1));
        let Some(step) = step.map(|step| step.answered_from(attempt.origin_cents)) else {
            // Played beside the drill: its place and chord are not those of any step.
            let named = |midi: i32| self.spell_from(attempt.origin_midi(), midi);
            return Row { degree: self.degree(attempt), ..Row::graded(attempt, setting, named) };
        };
        let setting = Setting {
            step: attempt.step,
            chord: step.sounding.as_ref().map_or_else(|| step.chord.clone(), |sounding| sounding.chord.clone()),
            string: step.place.map(|place| u32::from(place.string)),
            fret: step.place.map(|place| u32::from(place.fret)),
            ..setting.clone()
        };
        let (origin, target) = step.sounding.as_ref().map_or((&step.origin, &step.target), |sounding| (&sounding.origin, &sounding.target));
        let spell = |midi: i32| {
            let named = [target, origin].into_iter().find(|name| name.parse::<Note>().is_ok_and(|note| note.midi() == midi));
            named.cloned().unwrap_or_else(|| self.spell(midi))
        };
        Row::graded(attempt, &setting, spell)
    }
}

/// Lays a drill out as it was asked for.
fn course(drill: &str, asked: &Asked, tolerance: Tolerance) -> Result<Course, DrillError> {
    let chosen = match &asked.kind {
        Some(kind) => Chosen::of_kind(drill, drill, kind, &asked.parameters)?,
        None => Chosen::find(drill, &asked.parameters)?,
    };
    let plan = chosen.plan(stage(asked.stage.as_deref())?, Some(tolerance.cents))?;
    let told: Vec<Told> = asked.told.iter().filter_map(Telling::told).collect();
    Ok(Course::new(Arc::new(plan), &told))
}

impl Wishes for Wanted {
    fn wish(&mut self, seen: &Seen) -> Wish {
        if let Some(course) = &mut self.course {
            return course.wish(seen);
        }
        if let Some(tour) = &mut self.tour {
            return Wish { tolerance: self.wish.tolerance, ..tour.wish(seen) };
        }
        let cents = match self.target {
            None => return self.wish.clone(),
            Some(Wanting::Note(note)) => note.cents(),
            Some(Wanting::Name(name)) => nearest(name, seen.held_cents),
        };
        Wish { aim: Aim::Pitch(Target { cents, degree: None }), ..self.wish.clone() }
    }

    fn wants_pre_bend(&mut self, at_s: f64) -> bool {
        match &mut self.course {
            Some(course) => course.wants_pre_bend(at_s),
            None => self.wish.wants_pre_bend(at_s),
        }
    }

    fn wants_plain(&mut self, at_s: f64) -> bool {
        self.course.as_mut().is_some_and(|course| course.wants_plain(at_s))
    }

    fn listens(&mut self, at_s: f64) -> bool {
        self.course.as_mut().is_none_or(|course| course.listens(at_s))
    }

    fn graded(&mut self, attempt: &Attempt) {
        if let Some(course) = &mut self.course {
            course.graded(attempt);
        }
    }

    fn told(&mut self, told: Told) {
        if let Some(course) = &mut self.course {
            course.told(told);
        }
    }
}

/// A size of bend as typed: its name, or a number of cents from 25 to 600.
///
/// # Errors
/// What it should be.
pub fn bend_size(text: &str) -> Result<f64, String> {
    // Tablature writes a whole step as full.
    let text = if text.trim() == "full" { "whole" } else { text.trim() };
    let by_name = SIZES.iter().find(|(name, _)| *name == text).map(|(_, cents)| *cents);
    let typed = || text.parse().ok().filter(|cents| (25.0..=600.0).contains(cents));
    by_name.or_else(typed).ok_or_else(|| {
        let all: Vec<&str> = SIZES.iter().map(|(name, _)| *name).collect();
        format!("it is one of {}, or a number of cents from 25 to 600", all.join(", "))
    })
}

fn target(text: &str) -> Result<Wanting, AskedError> {
    let text = text.trim();
    let unknown = || AskedError::Target(text.to_owned());
    let (name, octave) = NoteName::read(text).ok_or_else(unknown)?;
    if octave.is_empty() {
        return Ok(Wanting::Name(name));
    }
    let octave = octave.parse().ok().filter(|octave| (0..=9).contains(octave)).ok_or_else(unknown)?;
    Ok(Wanting::Note(Note { name, octave }))
}

/// All octaves that a guitar can sound, and some more.
fn tones(chord: &Chord) -> Vec<Target> {
    let place = |midi: i32| Some(Target { cents: f64::from(midi) * 100.0, degree: Some(chord.degree_of_pitch(midi)?.to_string()) });
    (24..=108).filter_map(place).collect()
}

/// The note of this name nearest to a pitch in cents.
fn nearest(name: NoteName, cents: f64) -> f64 {
    let class = f64::from(name.class()) * 100.0;
    class + 1200.0 * ((cents - class) / 1200.0).round()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn wanted(asked: &Asked) -> Wanted {
        Wanted::of(asked, Tolerance::default()).unwrap()
    }

    fn seen(held_cents: f64) -> Seen {
        Seen {
            attempt: 1,
            onset_s: 0.0,
            arrival_s: 0.2,
            held_until_s: 1.0,
            origin_cents: Some(6700.0),
            held_cents,
            technique: Technique::Bend,
            steady_origin: true,
        }
    }

    fn aim(mut wanted: Wanted, held_cents: f64) -> Aim {
        wanted.wish(&seen(held_cents)).aim
    }

    #[test]
    fn a_note_without_octave_is_the_nearest_of_its_name() {
        let a = Asked { target: Some("A".into()), ..Asked::default() };
        assert_eq!(aim(wanted(&a), 6870.0), Aim::Pitch(Target { cents: 6900.0, degree: None }));
        assert_eq!(aim(wanted(&a), 7700.0), Aim::Pitch(Target { cents: 8100.0, degree: None }));
    }

    #[test]
    fn a_chord_aims_at_its_tones_and_spells_them() {
        let wanted = wanted(&Asked { chord: Some("Gbm7".into()), ..Asked::default() });
        assert_eq!(wanted.spell(66), "Gb4");
        assert_eq!(wanted.spell(69), "Bbb4");
        assert_eq!(wanted.spell(68), "Ab4");
        let Aim::Chord(tones) = aim(wanted, 6900.0) else { unreachable!("a chord was asked for") };
        assert!(tones.contains(&Target { cents: 6900.0, degree: Some("b3".into()) }));
        assert!(tones.iter().all(|tone| (tone.cents - 6800.0).abs() > 1.0));
    }

    #[test]
    fn sizes_have_names_and_numbers() {
        assert_eq!(bend_size("whole"), Ok(200.0));
        assert_eq!(bend_size("full"), Ok(200.0));
        assert_eq!(bend_size("150"), Ok(150.0));
        assert!(bend_size("10").is_err() && bend_size("huge").is_err());
    }

    #[test]
    fn what_cannot_be_asked_is_named() {
        let of = |asked| Wanted::of(&asked, Tolerance::default()).map(|_| ()).unwrap_err().to_string();
        assert!(of(Asked { target: Some("H4".into()), ..Asked::default() }).contains("H4"));
        assert!(of(Asked { chord: Some("Hm".into()), ..Asked::default() }).contains("Hm"));
        assert!(of(Asked { drill: Some("sleep".into()), ..Asked::default() }).contains("sleep"));
        assert!(of(Asked { technique: Some("slide".into()), ..Asked::default() }).contains("slide"));
    }
}
