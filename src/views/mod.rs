//! State drawn: terminal views, SVG, pages. One file per visible thing; no clock, no lock.

pub mod letters;
pub mod live;
pub mod terminal;
