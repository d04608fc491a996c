//! The same bend again and again, each time ended another way.

use super::super::ground::Ground;
use super::super::parameters::DrillError;
use super::super::parameters::words;
use super::super::plan::Step;
use super::super::plan::{Gesture, Shake};
use super::Kind;
use crate::grading::{Parts, Technique};

/// The kind.
pub const KIND: Kind = Kind {
    name: "endings",
    title: "One bend, several endings",
    help: "The same bend again and again, each time ended another way",
    trains: "Saying one phrase in several ways: held, let down, picked again, shaken.",
    ends: "When every attempt is played.",
    lead: "The same bend; listen for how it ends.",
    more: &["endings", "hold"],
    lacks: &[],
    defaults: &[("places", "2/8"), ("sizes", "whole"), ("endings", "hold release again shake")],
    steps,
};

fn steps(ground: &Ground) -> Result<Vec<Step>, DrillError> {
    let endings: Vec<String> = ground.text("endings").map(words).into_iter().flatten().map(str::to_owned).collect();
    let steps = ground.bends()?;
    let ended = |(step, ending): (Step, &String)| match ending.as_str() {
        "release" => Step {
            gesture: Gesture::Bend(Technique::BendRelease),
            parts: Parts { pitch: 3.0, release: 4.0, hold: 1.0, ..Parts::default() },
            ..step
        },
        "again" => Step {
            gesture: Gesture::Bend(Technique::BendRelease),
            restrike: true,
            parts: Parts { pitch: 3.0, release: 4.0, restrike: 2.0, hold: 1.0, ..Parts::default() },
            ..step
        },
        "shake" => Step {
            hold_s: Some(2.0),
            shake: Some(Shake { cents: (12.0, 35.0), hz: (4.0, 6.5), straight_s: 0.5, shaken_s: 1.5 }),
            parts: Parts { shake_centre: 3.0, shake_evenness: 3.0, shake_width: 2.0, pitch: 2.0, length: 2.5, ..Parts::default() },
            ..step
        },
        _ => Step {
            hold_s: Some(ground.hold_s(&step)),
            parts: Parts { pitch: 3.0, hold: 3.0, drift: 2.0, length: 2.0, ..Parts::default() },
            ..step
        },
    };
    Ok(steps.into_iter().zip(endings.iter().cycle()).map(ended).collect())
}
