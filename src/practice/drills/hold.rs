//! Bend, and hold it still.

use super::super::ground::Ground;
use super::super::parameters::DrillError;
use super::super::plan::Step;
use super::Kind;
use crate::grading::Parts;

/// The kind.
pub const KIND: Kind = Kind {
    name: "hold",
    title: "Bend and hold",
    help: "Bend, and hold it still",
    trains: "A hold that neither sinks nor creeps: two fingers behind the bending one.",
    ends: "When every attempt is played.",
    lead: "Hold it still until the bar reaches its mark.",
    more: &["hold"],
    lacks: &[],
    defaults: &[("places", "2/8"), ("sizes", "whole")],
    steps,
};

fn steps(ground: &Ground) -> Result<Vec<Step>, DrillError> {
    let parts = Parts { pitch: 3.0, hold: 3.0, drift: 2.0, length: 2.0, ..Parts::default() };
    let steps = ground.bends()?;
    Ok(steps.into_iter().map(|step| Step { hold_s: Some(ground.hold_s(&step)), parts, ..step }).collect())
}
