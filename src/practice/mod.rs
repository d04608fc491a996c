//! What to play next, and where we are.

mod asked;
pub mod backing;
pub mod beat_map;
pub mod click;
pub mod drone;
pub mod intonation;
pub mod play;
pub mod pulse;
pub mod tour;
pub mod tuner;

pub use asked::{AskedError, SIZES, Wanted, bend_size};
