//! The ears of landfall itself.

use super::ears::{Ears, MakeEars};
use super::settled::SettledLoop;
use crate::grading::{Provisional, Wishes};
use crate::pitch::attack::AttackFinder;
use crate::pitch::causal::Causal;
use crate::units::A4;

/// Ears for each take, with the same wishes.
#[must_use]
pub fn ears<W: Wishes + Clone + Send + 'static>(a4: A4, wishes: W) -> MakeEars {
    Box::new(move |rate| Ears {
        causal: Box::new(Causal::new(rate)),
        attacks: AttackFinder::new(rate),
        eye: Provisional::new(rate, a4, Box::new(wishes.clone())),
        settled: Box::new(SettledLoop::new(rate, a4, wishes.clone())),
    })
}
