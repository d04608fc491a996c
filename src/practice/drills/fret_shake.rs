//! A steady shake on a fretted note.

use super::super::ground::Ground;
use super::super::parameters::DrillError;
use super::super::plan::Shake;
use super::super::plan::Step;
use super::Kind;
use crate::grading::Parts;

/// The kind.
pub const KIND: Kind = Kind {
    name: "fret-shake",
    title: "Shake a fretted note",
    help: "A steady shake on a fretted note",
    trains: "Even swings that always come back to the fret's own pitch.",
    ends: "When every attempt is played.",
    lead: "Straight first; then swing up from the note and back to it.",
    more: &["straight", "shake", "rate", "width"],
    lacks: &["sizes"],
    defaults: &[("places", "2/10 3/9 1/8"), ("attempts", "6"), ("straight", "0.5"), ("shake", "2"), ("rate", "4-6.5"), ("width", "8-30")],
    steps,
};

fn steps(ground: &Ground) -> Result<Vec<Step>, DrillError> {
    let shake = Shake {
        cents: ground.range("width", (8.0, 30.0)),
        hz: ground.range("rate", (4.0, 6.5)),
        shaken_s: ground.number_or("shake", 2.0),
        straight_s: ground.number_or("straight", 0.5),
    };
    let parts = Parts { shake_centre: 3.0, shake_evenness: 3.0, shake_width: 2.0, pitch: 2.0, length: 2.5, ..Parts::default() };
    let steps = ground.notes()?;
    Ok(steps.into_iter().map(|step| Step { shake: Some(shake), hold_s: Some(shake.hold_s()), parts, ..step }).collect())
}
