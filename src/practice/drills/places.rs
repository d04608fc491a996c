//! The same note, bent to on other strings and frets.

use super::super::ground::Ground;
use super::super::parameters::DrillError;
use super::super::plan::Step;
use super::Kind;
use crate::grading::Parts;

/// The kind.
pub const KIND: Kind = Kind {
    name: "places",
    title: "One note, several places",
    help: "The same note, bent to on other strings and frets",
    trains: "One pitch in the ear, whatever the string asks of the hand.",
    ends: "When every attempt is played; the scatter from place to place is the result.",
    lead: "The same note each time; only the place changes.",
    more: &["target"],
    lacks: &[],
    defaults: &[("target", "A4"), ("sizes", "whole half"), ("attempts", "9")],
    steps,
};

fn steps(ground: &Ground) -> Result<Vec<Step>, DrillError> {
    let parts = Parts { pitch: 4.0, hold: 3.0, drift: 1.0, ..Parts::default() };
    let steps = match ground.target().filter(|_| ground.text("places").is_none()) {
        Some(target) => ground.bends_to(target, 3)?,
        None => ground.bends()?,
    };
    Ok(steps.into_iter().map(|step| Step { parts, ..step }).collect())
}
