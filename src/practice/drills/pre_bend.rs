//! Bend in silence, then pick, and let it down.

use super::super::ground::Ground;
use super::super::parameters::DrillError;
use super::super::plan::Step;
use super::super::plan::{Beats, Gesture};
use super::Kind;
use crate::grading::{Parts, Technique};

/// The kind.
pub const KIND: Kind = Kind {
    name: "pre-bend",
    title: "Silent pre-bends",
    help: "Bend in silence, then pick, and let it down",
    trains: "Feeling how far a bend is before anything is heard.",
    ends: "When every attempt is played.",
    lead: "Bend without a sound, pick, hold, let it down.",
    more: &["metre", "tempo", "hold-beats"],
    lacks: &[],
    defaults: &[("places", "2/8"), ("sizes", "whole"), ("attempts", "6"), ("tempo", "60"), ("hold-beats", "1"), ("unseen", "3")],
    steps,
};

fn steps(ground: &Ground) -> Result<Vec<Step>, DrillError> {
    let beats = Beats { tempo: ground.number_or("tempo", 60.0), rise: None };
    let hold_beats = ground.number_or("hold-beats", 1.0);
    let parts = Parts { pitch: 5.0, release: 4.0, hold: 1.0, length: 2.5, ..Parts::default() };
    let gesture = Gesture::Bend(Technique::PreBendRelease);
    let steps = ground.bends()?;
    Ok(steps.into_iter().map(|step| Step { gesture, beats: Some(beats), parts, ..step }.held_for(hold_beats, beats)).collect())
}
