//! What to play next, and where we are.

mod asked;
pub mod tour;

pub use asked::{AskedError, SIZES, Wanted, bend_size};
