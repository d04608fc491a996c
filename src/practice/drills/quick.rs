//! A grace bend: pick on the beat, at the top at once.

use super::super::ground::Ground;
use super::super::parameters::DrillError;
use super::super::plan::Beats;
use super::super::plan::Step;
use super::Kind;
use crate::grading::Parts;

/// The kind.
pub const KIND: Kind = Kind {
    name: "quick",
    title: "Grace bends",
    help: "A grace bend: pick on the beat, at the top at once",
    trains: "One push that knows where it ends.",
    ends: "When every attempt is played.",
    lead: "Move with the pick; one push, no correction.",
    more: &["rise", "metre", "tempo", "hold-beats"],
    lacks: &[],
    defaults: &[("places", "2/8"), ("sizes", "half whole"), ("tempo", "60"), ("hold-beats", "1")],
    steps,
};

fn steps(ground: &Ground) -> Result<Vec<Step>, DrillError> {
    let beats = Beats { tempo: ground.number_or("tempo", 60.0), rise: None };
    let rise_ms = ground.number_or("rise", ground.numbers.quick_ms);
    let hold_beats = ground.number_or("hold-beats", 1.0);
    let parts = Parts { pitch: 5.0, rise: 3.0, overshoot: 2.0, length: 2.5, ..Parts::default() };
    let steps = ground.bends()?;
    let quick = |step| Step { beats: Some(beats), rise_ms: Some(rise_ms), parts, ..step }.held_for(hold_beats, beats);
    Ok(steps.into_iter().map(quick).collect())
}
