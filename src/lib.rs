//! landfall listens to a lead guitar and says in cents and milliseconds whether each bend landed, how it held, and where the
//! release came home.
//!
//! The folders follow the signal:
//!
//! ```text
//! sound → pitch → notes → grading (with theory) → practice → views, logbook
//! ```
//!
//! `cli` and `live` wire them together; only `live` and `sound::card` know threads and clocks.

pub mod cli;
pub mod grading;
pub mod live;
pub mod logbook;
pub mod notes;
pub mod pitch;
pub mod practice;
pub mod sound;
pub mod theory;
pub mod units;
pub mod views;
