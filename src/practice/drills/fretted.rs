//! Fretted notes in tune: press no harder than the note needs.

use super::super::ground::Ground;
use super::super::parameters::DrillError;
use super::super::plan::Step;
use super::Kind;
use crate::grading::Parts;

/// The kind.
pub const KIND: Kind = Kind {
    name: "fretted",
    title: "Fretted notes in tune",
    help: "Fretted notes in tune: press no harder than the note needs",
    trains: "A light hand; a note pressed too hard is sharp.",
    ends: "When every note is played.",
    lead: "Fret it, pick it, let it sound; press no harder than it needs.",
    more: &["hold"],
    lacks: &["sizes"],
    defaults: &[("chord", "Dm"), ("hold", "0.5")],
    steps,
};

fn steps(ground: &Ground) -> Result<Vec<Step>, DrillError> {
    let parts = Parts { pitch: 5.0, hold: 3.0, drift: 2.0, ..Parts::default() };
    let steps = ground.notes()?;
    Ok(steps.into_iter().map(|step| Step { hold_s: ground.number("hold"), parts, ..step }).collect())
}
