//! The verdict on the bend that was just played, large, for as long as the eye needs.

use super::text;
use crate::views::letters;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::{Modifier, Style};

/// Draws it into `area`, as large as it goes.
pub(super) fn draw(verdict: &str, area: Rect, buffer: &mut Buffer) {
    let bold = Style::new().add_modifier(Modifier::BOLD);
    match letters::tallest(verdict, area.width, area.height) {
        Some(rows) => {
            // It stands on the last row: above it lies what is to come.
            let place = Rect { y: area.bottom() - rows, height: rows, ..area };
            letters::draw(verdict, rows, bold, place, buffer);
        }
        None => text(area, area.bottom().saturating_sub(1), &verdict.to_uppercase(), bold, buffer),
    }
}
