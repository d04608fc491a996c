//! The last landings as ticks at the left edge of the upper rule: higher is sharper.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

/// Cents a row; a tick moves in half rows.
const CENTS_A_ROW: f64 = 10.0;
/// Rows above and under the rule that ticks may use; what is further off stands at the end.
pub const ROWS: i32 = 3;

/// Draws one tick a column, oldest first, around row `rule`; `area` is where ticks may stand.
pub fn draw(landings: &[f64], newest: Style, older: Style, area: Rect, rule: u16, buffer: &mut Buffer) {
    let most = 2 * ROWS.min(i32::from(rule) - i32::from(area.top()));
    let least = -2 * ROWS.min(i32::from(area.bottom()) - 1 - i32::from(rule));
    for (index, error) in landings.iter().enumerate().take(usize::from(area.width)) {
        let halves = ((error / CENTS_A_ROW * 2.0).round() as i32).clamp(least, most);
        // Half rows count from the middle of the rule's row: an odd number is the nearer half of the next row.
        let (rows, shape) = match (halves, halves.rem_euclid(2)) {
            (0, _) => (0, '█'),
            (up, 1) if up > 0 => (up / 2 + 1, '▄'),
            (up, _) if up > 0 => (up / 2, '▀'),
            (down, 1) => (down.div_euclid(2), '▀'),
            (down, _) => (down / 2, '▄'),
        };
        let style = if index + 1 == landings.len() { newest } else { older };
        buffer[(area.x + index as u16, (i32::from(rule) - rows) as u16)].set_char(shape).set_style(style);
    }
}
