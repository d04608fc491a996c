//! Bend into a tone of each chord as the chords change.

use super::super::ground::Ground;
use super::super::parameters::DrillError;
use super::super::plan::Beats;
use super::super::plan::Step;
use super::Kind;
use crate::grading::Parts;

/// The kind.
pub const KIND: Kind = Kind {
    name: "changes",
    title: "Bends over changes",
    help: "Bend into a tone of each chord as the chords change",
    trains: "Hearing the next chord's tone before it comes.",
    ends: "After so many rounds through the chords.",
    lead: "Be at the top on the chord's first beat.",
    more: &["chords", "degrees", "metre", "tempo", "rounds", "hold-beats"],
    lacks: &["chord", "places", "each", "order", "seed"],
    defaults: &[("chords", "Gm7 C7 F"), ("degrees", "3"), ("sizes", "whole half"), ("tempo", "58"), ("rounds", "3"), ("hold-beats", "2")],
    steps,
};

fn steps(ground: &Ground) -> Result<Vec<Step>, DrillError> {
    let beats = Beats { tempo: ground.number_or("tempo", 58.0), rise: Some(1.0) };
    let hold_beats = ground.number_or("hold-beats", 2.0);
    let parts = Parts { pitch: 4.0, beat: 4.0, hold: 2.0, length: 2.5, ..Parts::default() };
    let steps = ground.bends_into(&ground.chords("chords"), ground.number_or("rounds", 3.0) as usize)?;
    Ok(steps.into_iter().map(|step| Step { beats: Some(beats), parts, ..step }.held_for(hold_beats, beats)).collect())
}
