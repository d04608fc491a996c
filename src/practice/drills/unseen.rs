//! Bends of several sizes with no moving pitch until the note is over.

use super::super::ground::Ground;
use super::super::parameters::DrillError;
use super::super::plan::Step;
use super::Kind;
use crate::grading::Parts;

/// The kind.
pub const KIND: Kind = Kind {
    name: "unseen",
    title: "Unseen bends",
    help: "Bends of several sizes with no moving pitch until the note is over",
    trains: "The ear instead of the eye.",
    ends: "When every attempt is played.",
    lead: "Listen; the page stays still until the note is over.",
    more: &[],
    lacks: &[],
    defaults: &[("places", "3/10"), ("sizes", "half whole one-and-a-half"), ("order", "shuffled"), ("attempts", "9"), ("unseen", "all")],
    steps,
};

fn steps(ground: &Ground) -> Result<Vec<Step>, DrillError> {
    let parts = Parts { pitch: 4.0, hold: 3.0, drift: 1.0, ..Parts::default() };
    let steps = ground.bends()?;
    Ok(steps.into_iter().map(|step| Step { parts, ..step }).collect())
}
