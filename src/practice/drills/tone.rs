//! Bend to the tones of a chord, wherever they lie.

use super::super::ground::Ground;
use super::super::parameters::DrillError;
use super::super::plan::Step;
use super::Kind;
use crate::grading::Parts;

/// The kind.
pub const KIND: Kind = Kind {
    name: "tone",
    title: "Bends to chord tones",
    help: "Bend to the tones of a chord, wherever they lie",
    trains: "Knowing where the root, third and fifth lie a bend above the hand.",
    ends: "When every attempt is played.",
    lead: "Bend to the tone and stay there.",
    more: &["degrees"],
    lacks: &[],
    defaults: &[("chord", "Dm"), ("sizes", "whole half")],
    steps,
};

fn steps(ground: &Ground) -> Result<Vec<Step>, DrillError> {
    let steps = ground.bends()?;
    Ok(steps.into_iter().map(|step| Step { parts: Parts { pitch: 4.0, hold: 3.0, drift: 1.0, ..Parts::default() }, ..step }).collect())
}
