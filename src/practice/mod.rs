//! What to play next, and where we are.

mod asked;

pub use asked::{AskedError, SIZES, Wanted, bend_size};

pub mod tour;
