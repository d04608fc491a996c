//! The ears of landfall itself.

use super::ears::{Ears, MakeEars};
use super::masked::{Masked, Replays};
use super::own_sound::OwnSound;
use super::settled::SettledLoop;
use crate::grading::{Provisional, Wishes};
use crate::pitch::attack::AttackFinder;
use crate::pitch::causal::Causal;
use crate::units::A4;
use std::sync::Arc;

/// Ears for each take, with the same wishes.
#[must_use]
pub fn ears<W: Wishes + Clone + Send + 'static>(a4: A4, wishes: W) -> MakeEars {
    let eye = wishes.clone();
    ears_apart(a4, wishes, move || Box::new(eye.clone()))
}

/// Ears for each take; the eye has wishes of its own, which may be asked about an attempt many times.
#[must_use]
pub fn ears_apart<W, E>(a4: A4, wishes: W, eye: E) -> MakeEars
where
    W: Wishes + Clone + Send + 'static,
    E: Fn() -> Box<dyn Wishes + Send> + Send + 'static,
{
    Box::new(move |rate| Ears {
        causal: Box::new(Causal::new(rate)),
        attacks: AttackFinder::new(rate),
        eye: Provisional::new(rate, a4, eye()),
        settled: Box::new(SettledLoop::new(rate, a4, wishes.clone())),
        own: None,
        masked: None,
    })
}

/// The same beside landfall's own sound: while a tone of its own sounds, and shortly after, no note is an attempt.
#[must_use]
pub fn ears_beside<W: Wishes + Clone + Send + 'static>(a4: A4, wishes: W, own: Arc<OwnSound>) -> MakeEars {
    let eye = wishes.clone();
    ears_apart_beside(a4, wishes, move || Box::new(eye.clone()), own)
}

/// The same where the eye has wishes of its own.
#[must_use]
pub fn ears_apart_beside<W, E>(a4: A4, wishes: W, eye: E, own: Arc<OwnSound>) -> MakeEars
where
    W: Wishes + Clone + Send + 'static,
    E: Fn() -> Box<dyn Wishes + Send> + Send + 'static,
{
    Box::new(move |rate| {
        own.begin_take(rate);
        Ears {
            causal: Box::new(Causal::new(rate)),
            attacks: AttackFinder::new(rate),
            eye: Provisional::new(rate, a4, Box::new(own.hushed_for_the_eye(eye()))),
            settled: Box::new(SettledLoop::new(rate, a4, own.hushed(wishes.clone()))),
            own: Some(Arc::clone(&own)),
            masked: None,
        }
    })
}

/// The same ears, with what `replays` makes taken out of what they hear.
#[must_use]
pub fn masked(mut ears: MakeEars, own: Arc<OwnSound>, replays: Replays) -> MakeEars {
    Box::new(move |rate| Ears { masked: Some(Masked::new(rate, Arc::clone(&own), Arc::clone(&replays))), ..ears(rate) })
}
