//! The chord now and the next one, in letters that can be read from two metres, and the beats that are left.

use super::{PlayState, Shown, text};
use crate::views::letters;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::{Modifier, Style};

/// Draws both into `area`: above the chord now (or the count), below the next one with the beats to go at the right.
pub(super) fn draw(state: &PlayState, area: Rect, buffer: &mut Buffer) {
    let bold = Style::new().add_modifier(Modifier::BOLD);
    let sentence = 1;
    let room = area.height.saturating_sub(sentence);
    let both = room >= 2 * letters::LEAST_ROWS;
    // The chord now is the larger one: at a glance from two metres nobody takes the next for it.
    let above = Rect { height: if both { room - letters::LEAST_ROWS.max(room / 3) } else { room }, ..area };
    let counted = state.count.map(|count| count.to_string());
    let now = state.now.as_ref().map(|now| (now.large.as_str(), now.text.as_str()));
    let now = counted.as_deref().map(|count| (count, count)).or(now);
    if let Some((large, small)) = now {
        word(large, small, above, bold, buffer);
    }
    let below = Rect { y: above.bottom() + sentence, height: area.bottom().saturating_sub(above.bottom() + sentence), ..area };
    let Some((next, beats)) = &state.next else { return };
    let comes = to_come(&next.text, *beats);
    let line = format!("{}{comes}", tones(state.now.as_ref()));
    // What comes is wanted more than what the neck shows too.
    let line = if line.chars().count() > usize::from(area.width) { comes } else { line };
    text(area, above.bottom(), &line, Style::new(), buffer);
    if both {
        let digits = beats.to_string();
        let wide = letters::width(&digits, below.height.max(letters::LEAST_ROWS));
        let chord = Rect { width: below.width.saturating_sub(wide + 3), ..below };
        word(&next.large, &next.text, chord, Style::new(), buffer);
        let at = Rect { x: below.right().saturating_sub(wide + 1), width: wide + 1, ..below };
        word(&digits, &digits, at, bold, buffer);
    }
}

fn tones(now: Option<&Shown>) -> String {
    now.filter(|now| !now.tones.is_empty()).map_or_else(String::new, |now| format!("{}: {}.  ", now.text, now.tones))
}

/// What comes, in words.
pub(super) fn to_come(next: &str, beats: u32) -> String {
    match beats {
        0 | 1 => format!("Then {next}, on the next beat"),
        beats => format!("Then {next} in {beats} beats"),
    }
}

/// A word as large as it goes; in plain letters where it does not fit.
fn word(large: &str, small: &str, area: Rect, style: Style, buffer: &mut Buffer) {
    match letters::tallest(large, area.width, area.height) {
        Some(rows) => letters::draw(large, rows, style, area, buffer),
        None => text(area, area.y + area.height / 2, small, style, buffer),
    }
}
