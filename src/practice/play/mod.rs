//! Playing over the chords of a tune: what is wanted of each bend by the chord of the moment, and what a run came to.
//!
//! Conventions. Score time is seconds from the first beat of the first bar played, at the tempo of each round. A note belongs to the chord that is in force when
//! it is reached: a bend when it arrives, another note at its attack. What is reached up to an eighth early and still held when the
//! new chord begins belongs to the new chord (common practice, no source).

mod came_to;
mod example;
mod over_recording;
mod timing;
mod tune;
mod wanted;

pub use came_to::{CameTo, Landing, Shares};
pub use example::example;
pub use over_recording::{OverRecording, Round};
pub use timing::Timing;
pub use tune::{Tune, TuneError, Written};
pub use wanted::{NoteTold, On, PlayWishes, ScoreTime};
