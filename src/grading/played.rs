//! One bend as it was played, in cents and hops, before anybody asks what was wanted.

use super::Technique;
use super::arrival::{Arrival, arrival, overshoot};
use super::hold::Hold;
use super::origin::{Before, before};
use super::release::{Release, release};
use crate::notes::statistics::median;
use crate::notes::{Bend, Shape, Vibrato};

/// Settled part of a pre-bend's beginning, ms after the attack.
const EARLY_MS: f64 = 150.0;

/// Everything measured on the curve of one bend.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Played {
    pub technique: Technique,
    pub before: Option<Before>,
    pub arrival: Arrival,
    pub overshoot: Option<f64>,
    pub hold: Hold,
    pub vibrato: Option<Vibrato>,
    pub release: Option<Release>,
    pub corrected: bool,
}

impl Played {
    /// Measures a bend. `attack` is the position of the note's attack, `end` one behind the last point that counts, `origin` the wanted
    /// origin where there is one.
    pub fn of(shape: &Shape, bend: &Bend, attack: usize, end: usize, origin: Option<f64>) -> Option<Self> {
        let last = end.min(shape.curve.len()).checked_sub(1)?;
        let vibrato = shape.vibrato_in(&bend.hold).cloned();
        let (before, arrival) = if bend.is_pre_bend() {
            (None, pre_bent(shape, bend, attack)?)
        } else {
            let before = before(shape, bend, attack, origin)?;
            (Some(before), arrival(shape, bend, before.start, vibrato.as_ref())?)
        };
        let touched = arrival.touched_until.map(|_| arrival.level);
        let vibrato = if touched.is_some() { None } else { vibrato };
        let release = release(shape, bend, arrival.at, vibrato.as_ref(), touched);
        let hold_to = match (arrival.touched_until, &release) {
            (Some(until), _) => until,
            (None, Some(release)) => release.start,
            (None, None) => (bend.hold.end.min(last + 1) - 1) as f64,
        };
        let settled_from = if bend.is_pre_bend() { arrival.at.max(bend.hold.start as f64) } else { arrival.at };
        let mut hold = Hold::of(shape, settled_from, hold_to.max(settled_from), vibrato.as_ref(), touched)?;
        hold.from = arrival.at;
        let overshoot = before.map(|before| overshoot(shape, bend, before.start, &arrival, vibrato.as_ref(), hold_to));
        let technique = Technique::of(bend.is_pre_bend(), release.is_some());
        Some(Self { technique, before, arrival, overshoot, hold, vibrato, release, corrected: bend.corrected })
    }
}

impl Played {
    /// Whether the pitch before the bend stayed for long enough to say from which fret it began.
    pub fn has_steady_origin(&self) -> bool {
        self.before.is_some_and(|before| before.origin.is_some())
    }
}

/// A pre-bend arrives with its attack; its early pitch is that of the first 150 ms, from 30 ms on.
fn pre_bent(shape: &Shape, bend: &Bend, attack: usize) -> Option<Arrival> {
    let until = (attack + shape.hops(EARLY_MS)).min(bend.hold.end).max(bend.hold.start + 1);
    let level = median(&shape.curve[bend.hold.start..until.min(shape.curve.len())])?;
    let at = attack as f64;
    Some(Arrival { at, level, touched: at, touched_until: None })
}
