//! The steps of the demonstration: what each bend of the bundled ballad should reach, by the time at which it is played.

use crate::grading::{Aim, Seen, Target, Technique, Tolerance, Wish, Wishes};
use crate::theory::{Note, Tuning};
use serde::Deserialize;

/// What the demonstration is called in the log and beside its takes.
pub const NAME: &str = "demo";

const BALLAD_STEPS: &str = include_str!("../../test_signals/scenarios/ballad_steps.toml");

/// One thing to play.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Step {
    /// From when it is asked for, seconds of the take.
    pub from_s: f64,
    /// 1 is the highest.
    pub string: u8,
    /// The fretted note.
    pub fret: u8,
    /// How far to bend.
    pub bend_cents: f64,
    /// The chord of the moment.
    pub chord: String,
    /// The target's place in it.
    pub degree: String,
    /// How.
    pub technique: String,
}

impl Step {
    /// MIDI number of the fretted note in standard tuning.
    #[must_use]
    pub fn origin_midi(&self) -> i32 {
        let open = Tuning::standard().open(self.string).map_or(0, Note::midi);
        open + i32::from(self.fret)
    }

    /// The fretted pitch in cents on the MIDI scale.
    #[must_use]
    pub fn origin_cents(&self) -> f64 {
        100.0 * f64::from(self.origin_midi())
    }

    /// The pitch to reach in cents on the MIDI scale.
    #[must_use]
    pub fn target_cents(&self) -> f64 {
        self.origin_cents() + self.bend_cents
    }

    /// The gesture asked for.
    #[must_use]
    pub fn technique(&self) -> Option<Technique> {
        self.technique.parse().ok()
    }
}

/// A row of steps, each asked for from its time on.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Tour {
    #[serde(rename = "step")]
    steps: Vec<Step>,
}

impl Tour {
    /// The steps of the bundled ballad.
    ///
    /// # Panics
    /// Never: a test reads the bundled file.
    #[must_use]
    pub fn ballad() -> Self {
        #[expect(clippy::expect_used, reason = "the file is part of the program, and a test reads it")]
        toml::from_str(BALLAD_STEPS).expect("the bundled steps can be read")
    }

    /// The step asked for at an instant of the take, and its number from 1; before the first, the first.
    #[must_use]
    pub fn at(&self, seconds: f64) -> Option<(u32, &Step)> {
        let begun = self.steps.partition_point(|step| step.from_s <= seconds).max(1);
        self.steps.get(begun - 1).map(|step| (begun as u32, step))
    }

    /// All steps in order.
    #[must_use]
    pub fn steps(&self) -> &[Step] {
        &self.steps
    }
}

impl Wishes for Tour {
    fn wish(&mut self, seen: &Seen) -> Wish {
        let Some((_, step)) = self.at(seen.onset_s) else { return Wish::default() };
        Wish {
            origin: Some(step.origin_cents()),
            aim: Aim::Pitch(Target { cents: step.target_cents(), degree: Some(step.degree.clone()) }),
            technique: step.technique(),
            tolerance: Tolerance::default(),
            ..Wish::default()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::theory::Chord;

    #[test]
    fn each_step_of_the_ballad_bends_into_the_chord_tone_that_it_names() {
        let tour = Tour::ballad();
        assert_eq!(tour.steps().len(), 9);
        for step in tour.steps() {
            let chord = Chord::parse(&step.chord).unwrap();
            let target = (step.target_cents() / 100.0).round() as i32;
            assert_eq!(chord.degree_of_pitch(target).map(|degree| degree.to_string()).as_deref(), Some(step.degree.as_str()), "{step:?}");
            assert!(step.technique().is_some());
        }
    }
}
