//! Fret the note, hear it, then bend to it.

use super::super::ground::Ground;
use super::super::parameters::DrillError;
use super::super::plan::Hear;
use super::super::plan::Step;
use super::Kind;
use crate::grading::Parts;
use crate::theory::Place;

/// The kind.
pub const KIND: Kind = Kind {
    name: "fret-first",
    title: "Fret it, then bend it",
    help: "Fret the note, hear it, then bend to it",
    trains: "The ear before the hand: the target is your own fretted note.",
    ends: "When every attempt is played.",
    lead: "Pick the fretted note first, then bend until the bend is that note.",
    more: &[],
    lacks: &[],
    defaults: &[("places", "2/8 3/7"), ("sizes", "half whole"), ("each", "6"), ("order", "blocks")],
    steps,
};

fn steps(ground: &Ground) -> Result<Vec<Step>, DrillError> {
    let parts = Parts { pitch: 5.0, hold: 3.0, ..Parts::default() };
    let higher = |place: Place, cents: f64| Place { fret: place.fret + (cents / 100.0).ceil() as u8, ..place };
    let steps = ground.bends()?;
    let heard =
        |step: Step| Step { hear: step.place.map_or(Hear::Target, |place| Hear::Fretted(higher(place, step.bend_cents))), parts, ..step };
    Ok(steps.into_iter().map(heard).collect())
}
