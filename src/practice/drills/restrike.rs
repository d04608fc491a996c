//! Bend, let it down, and pick the note again.

use super::super::ground::Ground;
use super::super::parameters::DrillError;
use super::super::plan::Step;
use super::super::plan::{Beats, Gesture};
use super::Kind;
use crate::grading::{Parts, Technique};

/// The kind.
pub const KIND: Kind = Kind {
    name: "restrike",
    title: "Let down and pick again",
    help: "Bend, let it down, and pick the note again",
    trains: "Coming home in tune: the note picked again tells.",
    ends: "When every attempt is played.",
    lead: "Bend, let it down, and pick it again where it came home.",
    more: &["metre", "tempo", "hold-beats"],
    lacks: &[],
    defaults: &[("places", "2/8"), ("sizes", "whole"), ("tempo", "60"), ("hold-beats", "1")],
    steps,
};

fn steps(ground: &Ground) -> Result<Vec<Step>, DrillError> {
    let beats = Beats { tempo: ground.number_or("tempo", 60.0), rise: None };
    let hold_beats = ground.number_or("hold-beats", 1.0);
    let parts = Parts { pitch: 3.0, release: 4.0, restrike: 2.0, hold: 1.0, length: 2.5, ..Parts::default() };
    let gesture = Gesture::Bend(Technique::BendRelease);
    let steps = ground.bends()?;
    Ok(steps
        .into_iter()
        .map(|step| Step { gesture, restrike: true, beats: Some(beats), parts, ..step }.held_for(hold_beats, beats))
        .collect())
}
