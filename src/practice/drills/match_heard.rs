//! Hear a note, and bend until yours is that note.

use super::super::ground::Ground;
use super::super::parameters::DrillError;
use super::super::plan::Hear;
use super::super::plan::Step;
use super::Kind;
use crate::grading::Parts;

/// The kind.
pub const KIND: Kind = Kind {
    name: "match",
    title: "Match a heard note",
    help: "Hear a note, and bend until yours is that note",
    trains: "Matching what you hear, with nothing to read.",
    ends: "When every attempt is played.",
    lead: "Listen to the note, then bend until yours is the same.",
    more: &[],
    lacks: &[],
    defaults: &[("places", "3/10"), ("sizes", "half whole one-and-a-half"), ("order", "shuffled"), ("unseen", "all"), ("hear", "target")],
    steps,
};

fn steps(ground: &Ground) -> Result<Vec<Step>, DrillError> {
    let parts = Parts { pitch: 5.0, hold: 2.0, overshoot: 1.0, ..Parts::default() };
    let steps = ground.bends()?;
    Ok(steps.into_iter().map(|step| Step { by_ear: true, hear: Hear::Target, parts, ..step }).collect())
}
