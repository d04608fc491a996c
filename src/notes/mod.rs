//! What happened: attacks, notes and their movements, without any wish.
//!
//! Conventions. Pitch is cents on the MIDI scale against the take's A4; positions inside a note are hops of its contour;
//! unknown pitch is a hole, never a number. A hole of 50 ms or less is no end of a note.

mod beats;
mod bend;
mod clean;
mod contour;
mod finder;
mod movement;
mod note;
mod sag;
mod shape;
pub mod statistics;
pub mod steady;
mod steps;
mod stops;
mod trust;
mod vibrato;

pub use bend::{Bend, bends};
pub use contour::{Contour, ContourPoint};
pub use finder::NoteFinder;
pub use movement::{Movement, MovementKind};
pub use note::{Cause, Ending, Note};
pub use shape::{LEAST_MOVE_CENTS, SLOWEST_CLIMB_CENTS_PER_S, Shape, mean_between};
pub use steps::{Step, steps};
pub use trust::is_a_strings;
pub use vibrato::Vibrato;

/// A hole in the pitch of up to this long is bridged: pick noise, a passing string, a fade of the tracker's confidence.
pub const BRIDGED_GAP_S: f64 = 0.05;

/// No note is kept for longer: a drone would otherwise grow without bound.
pub const LONGEST_NOTE_S: f64 = 30.0;
