//! Draw a bend out over several beats, to the top on the beat.

use super::super::ground::Ground;
use super::super::parameters::DrillError;
use super::super::plan::Beats;
use super::super::plan::Step;
use super::Kind;
use crate::grading::Parts;
use crate::notes::SLOWEST_CLIMB_CENTS_PER_S;

/// The kind.
pub const KIND: Kind = Kind {
    name: "slow",
    title: "Slow bends",
    help: "Draw a bend out over several beats, to the top on the beat",
    trains: "Control of the whole way up: strength, and hearing every step of it.",
    ends: "When every attempt is played.",
    lead: "Climb evenly: halfway at half the time, the top on the beat.",
    more: &["beats", "metre", "tempo", "hold-beats"],
    lacks: &[],
    defaults: &[("places", "3/9"), ("sizes", "whole"), ("attempts", "6"), ("hold-beats", "1")],
    steps,
};

/// A climb must stay clear of a drift, also where it is eased by a fifth and a hand is slower than asked.
pub const SLOWEST_CENTS_PER_S: f64 = 1.8 * SLOWEST_CLIMB_CENTS_PER_S;

fn steps(ground: &Ground) -> Result<Vec<Step>, DrillError> {
    let numbers = ground.numbers;
    let beats = Beats { tempo: ground.number_or("tempo", numbers.slow_tempo), rise: Some(ground.number_or("beats", numbers.slow_beats)) };
    let hold_beats = ground.number_or("hold-beats", 1.0);
    let parts = Parts { pitch: 3.0, beat: 3.0, evenness: 2.0, hold: 2.0, length: 2.5, ..Parts::default() };
    let steps = ground.bends()?;
    let rise_s = beats.rise.unwrap_or(0.0) * beats.beat_s();
    if let Some(step) = steps.iter().find(|step| step.bend_cents < SLOWEST_CENTS_PER_S * rise_s) {
        let wanted = format!(
            "a climb of {:.0} cents over {rise_s:.1} s cannot be told from a drift, {:.1} s is the most; take fewer beats, a quicker tempo or a larger bend",
            step.bend_cents,
            step.bend_cents / SLOWEST_CENTS_PER_S
        );
        return Err(DrillError::Value { name: "beats".to_owned(), found: format!("{}", beats.rise.unwrap_or(0.0)), wanted });
    }
    Ok(steps.into_iter().map(|step| Step { beats: Some(beats), parts, ..step }.held_for(hold_beats, beats)).collect())
}
