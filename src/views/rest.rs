//! The page between two drills: seconds that are left, and what comes next.

use crate::views::letters;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::{Modifier, Style};

/// Draws the page into `area`.
pub fn draw(left_s: u32, next: &str, area: Rect, buffer: &mut Buffer) {
    let bold = Style::new().add_modifier(Modifier::BOLD);
    let mut text = |row: u16, words: &str, style: Style| {
        if row < area.bottom() && area.width > 0 {
            buffer.set_stringn(area.x, row, words, usize::from(area.width), style);
        }
    };
    text(area.y, &format!("Rest the hand. Next: {next}"), bold);
    text(area.bottom().saturating_sub(1), "space goes on, q ends", Style::new());
    let word = format!("rest {left_s}");
    match letters::tallest("rest 888", area.width.saturating_sub(1), area.height.saturating_sub(4).min(9)) {
        Some(rows) => letters::draw(&word, rows, bold, Rect { y: area.y + 2, height: rows, ..area }, buffer),
        None => text(area.y + 1, &word.to_uppercase(), bold),
    }
}
