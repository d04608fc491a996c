//! The movements of a note: where it rises, falls, stays and shakes.

use std::ops::Range;

/// What the pitch does over a stretch of a contour.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum MovementKind {
    /// Up by 25 cents or more.
    Rise,
    /// Down by 25 cents or more.
    Fall,
    /// Level, or drifting too slowly to be played as a movement.
    Steady,
    /// Swinging to and fro: two cycles or more at 3 to 9 a second.
    Vibrato,
}

/// One movement.
#[derive(Clone, Debug, PartialEq)]
pub struct Movement {
    /// What the pitch does.
    pub kind: MovementKind,
    /// Where, in points of the note's contour.
    pub span: Range<usize>,
    /// Pitch at its beginning, cents on the MIDI scale.
    pub from_cents: f64,
    /// Pitch at its end, cents on the MIDI scale.
    pub to_cents: f64,
}
