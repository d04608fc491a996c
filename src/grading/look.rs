//! A note as the grader looks at it: its shape, its bends, and from where on its pitch counts.

use crate::notes::statistics::median;
use crate::notes::{Bend, Cause, Note, Shape, bends, is_a_strings};

/// From the attack to where the pitch counts, ms.
pub(super) const SETTLED_MS: f64 = 30.0;

/// A note as the grader looks at it.
pub(super) struct Look {
    pub shape: Shape,
    pub bends: Vec<Bend>,
    /// The attack, the first point that counts, and one behind the last, in points.
    pub attack: usize,
    /// Where the pitch begins to count.
    pub settled: usize,
    pub end: usize,
}

impl Look {
    pub fn at(note: &Note, loudest_dbfs: f32) -> Option<Self> {
        let shape = Shape::of(&note.contour)?;
        let attack = note.contour.position(note.onset).max(0.0).round() as usize;
        let settled = attack + shape.hops(SETTLED_MS);
        let end = Some(shape.curve.len()).filter(|end| *end > settled + 2)?;
        let mut bends = bends(&shape, settled, end);
        // Bent before the stroke: there must have been one.
        bends.retain(|bend| note.cause == Cause::Pick || !bend.is_pre_bend());
        bends.retain(|bend| is_a_strings(note, &shape, bend, loudest_dbfs));
        Some(Self { shape, bends, attack, settled, end })
    }

    /// Its pitch as a whole: the median of what counts, with vibrato its centre.
    pub fn settled_pitch(&self) -> f64 {
        let stretch = self.settled..self.end;
        match self.shape.vibrato_in(&stretch) {
            Some(vibrato) => vibrato.centre_cents,
            None => median(&self.shape.curve[stretch]).unwrap_or(self.shape.curve[self.settled]),
        }
    }

    /// The whole note as a bend that was made before the stroke and is not let down.
    pub fn held_throughout(&self) -> Option<Bend> {
        let hold = self.settled..self.end;
        let long_enough = hold.len() as f64 * self.shape.hop_ms >= 100.0;
        long_enough.then_some(Bend {
            before: None,
            rise: None,
            first_stop_end: hold.end,
            hold,
            corrected: false,
            release: None,
            landing: None,
        })
    }
}
