//! What to play next, and where we are.

pub mod advice;
mod asked;
pub mod backing;
pub mod beat_map;
pub mod check;
pub mod click;
pub mod coach;
pub mod course;
pub mod drill_file;
pub mod drills;
pub mod drone;
mod easing;
pub mod ground;
pub mod hand;
pub mod hands_free;
pub mod in_time;
pub mod intonation;
pub mod parameters;
pub mod plan;
pub mod play;
pub mod pulse;
pub mod replay;
pub mod stage;
pub mod tones;
pub mod tour;
pub mod tuner;
mod usual;

pub use asked::{AskedError, SIZES, Wanted, bend_size};
