//! The count of a drill that is played to a click: the beat in large digits at the right, the chord that comes, and in words what is wanted when.

use super::{LiveState, Look};
use crate::theory::Chord;
use crate::views::letters;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

/// Columns between what stands side by side.
const APART: u16 = 2;

/// The second line of the page: what is aimed at, and when; where there is no room for both, when.
pub(super) fn second_line(state: &LiveState, room: u16) -> Option<String> {
    let count = state.lesson.as_ref().and_then(|lesson| lesson.count.as_ref()).map(super::Count::words).filter(|words| !words.is_empty());
    let (Some(harmony), Some(count)) = (state.ask.harmony(), count.clone()) else { return state.ask.harmony().or(count) };
    let both = format!("{harmony}   {count}");
    Some(if both.chars().count() <= usize::from(room) { both } else { count })
}

/// Draws the beat into `above`, beside the large word there; over changes also the next chord with its beats to go into `below`, unless the word of a release stands there.
pub(super) fn draw(state: &LiveState, look: Look, above: Rect, below: Rect, buffer: &mut Buffer) {
    let Some(count) = state.lesson.as_ref().and_then(|lesson| lesson.count.as_ref()).filter(|_| state.rest().is_none()) else { return };
    let word = state.headline();
    // Beside the figure of a verdict it would be read as one more of its digits.
    if state.page.is_none() || word.is_none() {
        let taken = word.map_or(0, |word| letters::width(&word, above.height));
        right(&count.beat.to_string(), taken, Style::new(), above, buffer);
    }
    let Some((_, next)) = count.chords.as_ref().filter(|_| state.homecoming().is_none()) else { return };
    if below.height < letters::LEAST_ROWS {
        return;
    }
    // The hold's bar grows on the first rows under the upper rule; the letters stand on the lower one.
    let large = Chord::parse(next).map_or_else(|_| next.clone(), |chord| letters::of_chord(&chord));
    let wide = letters::width(&large, below.height);
    if wide <= below.width {
        letters::draw(&large, below.height, Style::new(), below, buffer);
        let to_go = count.to_go.map(|beats| beats.to_string()).unwrap_or_default();
        right(&to_go, wide, look.own(), below, buffer);
    }
}

/// A word at the right end, where `taken` columns at the left leave room for it.
fn right(word: &str, taken: u16, style: Style, area: Rect, buffer: &mut Buffer) {
    if area.height < letters::LEAST_ROWS {
        return;
    }
    let wide = letters::width(word, area.height);
    if taken + wide + 2 * APART <= area.width {
        letters::draw(word, area.height, style, Rect { x: area.right() - wide - APART, width: wide, ..area }, buffer);
    }
}
