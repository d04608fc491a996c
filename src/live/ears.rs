//! What listens to a take: one tracker for the eye, and the settled loop for the rows.

use super::masked::Masked;
use super::own_sound::OwnSound;
use crate::grading::{Attempt, Provisional, Told};
use crate::pitch::Tracker;
use crate::pitch::attack::AttackFinder;
use crate::sound::Block;
use crate::units::SampleRate;
use std::sync::Arc;

/// From a take's blocks to its attempts, the same live and afterwards.
pub trait Settles: Send {
    /// Takes the next block, which follows the one before.
    fn hear(&mut self, block: &Block<'_>, emit: &mut dyn FnMut(Attempt));
    /// Something was told while the take is heard; it concerns what is played from then on.
    fn told(&mut self, told: Told) {
        let _ = told;
    }
    /// The pitch of an attempt that was just handed out: seconds of the take and cents; nothing where it is not kept.
    fn curve(&self, attempt: &Attempt) -> Vec<(f64, f64)> {
        let _ = attempt;
        Vec::new()
    }
    /// The take has ended: hands out what is left.
    fn finish(&mut self, emit: &mut dyn FnMut(Attempt));
}

/// The ears of one take.
pub struct Ears {
    /// For the eye.
    pub causal: Box<dyn Tracker + Send>,
    /// Strokes, for the eye.
    pub attacks: AttackFinder,
    /// What can be said before the row.
    pub eye: Provisional,
    /// For the rows.
    pub settled: Box<dyn Settles>,
    /// What landfall itself sounds beside the player, where it does.
    pub own: Option<Arc<OwnSound>>,
    /// Takes it out of what is heard, where it plays a tune.
    pub masked: Option<Masked>,
}

/// Makes the ears of each take anew.
pub type MakeEars = Box<dyn FnMut(SampleRate) -> Ears + Send>;
