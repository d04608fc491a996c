//! What happened against what was wanted: one [`Attempt`] per bent note.
//!
//! Conventions. An error is played minus wanted: positive is sharp, or late. Pitch is cents on the MIDI scale; times are seconds
//! from the take's first sample; unknown is `None`. The definitions are those of the log's columns ([`Measures`]).
#![doc = include_str!("by_hand.md")]

mod arrival;
mod attempt;
mod fault;
mod grade;
mod grader;
mod hold;
mod look;
mod measures;
mod origin;
mod parts;
mod played;
mod provisional;
mod release;
mod repick;
mod score;
mod standing;
mod target;
mod technique;
mod verdict;
mod wish;

pub use attempt::{Attempt, nearest_midi};
pub use fault::Fault;
pub use grader::{Grader, Trouble};
pub use measures::Measures;
pub use provisional::{Glimpse, Provisional};
pub use standing::{Harmony, Standing, scale_over};
pub use target::counted_error;
pub use technique::Technique;
pub use verdict::{Verdict, Word};
pub use wish::{Aim, AskedFor, HeardNote, Parts, Seen, Target, Telling, Told, Tolerance, Wish, Wishes};
