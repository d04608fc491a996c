//! Bend, and let it down to the fret while it sounds.

use super::super::ground::Ground;
use super::super::parameters::DrillError;
use super::super::plan::Gesture;
use super::super::plan::Step;
use super::Kind;
use crate::grading::{Parts, Technique};

/// The kind.
pub const KIND: Kind = Kind {
    name: "release",
    title: "Bend and let down",
    help: "Bend, and let it down to the fret while it sounds",
    trains: "A way down that stays alive and ends at the fret's own pitch.",
    ends: "When every attempt is played.",
    lead: "Keep pressing on the way down until the string is straight.",
    more: &[],
    lacks: &[],
    defaults: &[("places", "2/8"), ("sizes", "whole")],
    steps,
};

fn steps(ground: &Ground) -> Result<Vec<Step>, DrillError> {
    let parts = Parts { pitch: 3.0, release: 4.0, hold: 1.0, ..Parts::default() };
    let gesture = Gesture::Bend(Technique::BendRelease);
    let steps = ground.bends()?;
    Ok(steps.into_iter().map(|step| Step { gesture, parts, ..step }).collect())
}
