//! Bend, hold it straight, then shake it.

use super::super::ground::Ground;
use super::super::parameters::DrillError;
use super::super::plan::Shake;
use super::super::plan::Step;
use super::Kind;
use crate::grading::Parts;

/// The kind.
pub const KIND: Kind = Kind {
    name: "shake",
    title: "Bend, then shake",
    help: "Bend, hold it straight, then shake it",
    trains: "An even shake on a bent string, at the note and not under it.",
    ends: "When every attempt is played.",
    lead: "Straight first; then let every swing come back up to the note.",
    more: &["straight", "shake", "rate", "width"],
    lacks: &[],
    defaults: &[
        ("places", "2/8"),
        ("sizes", "whole"),
        ("attempts", "6"),
        ("straight", "1"),
        ("shake", "2"),
        ("rate", "4-6.5"),
        ("width", "12-35"),
    ],
    steps,
};

fn steps(ground: &Ground) -> Result<Vec<Step>, DrillError> {
    let shake = Shake {
        cents: ground.range("width", (12.0, 35.0)),
        hz: ground.range("rate", (4.0, 6.5)),
        shaken_s: ground.number_or("shake", 2.0),
        straight_s: ground.number_or("straight", 1.0),
    };
    let parts = Parts { shake_centre: 3.0, shake_evenness: 3.0, shake_width: 2.0, pitch: 2.0, length: 2.5, ..Parts::default() };
    let steps = ground.bends()?;
    Ok(steps.into_iter().map(|step| Step { shake: Some(shake), hold_s: Some(shake.hold_s()), parts, ..step }).collect())
}
