//! State drawn: terminal views, SVG, pages. One file per visible thing; no clock, no lock.

pub mod chart;
pub mod chart_page;
pub mod check;
pub mod intonation;
pub mod letters;
pub mod live;
pub mod neck;
pub mod neck_words;
pub mod page;
pub mod paragraph;
pub mod play;
pub mod rest;
pub mod rows;
pub mod take_page;
pub mod terminal;
pub mod tune;

/// Columns of the terminal on standard output; `None` where that is no terminal.
#[must_use]
pub fn terminal_columns() -> Option<usize> {
    use std::io::IsTerminal;
    if !std::io::stdout().is_terminal() {
        return None;
    }
    crossterm::terminal::size().ok().map(|(columns, _)| usize::from(columns)).filter(|columns| *columns > 0)
}
