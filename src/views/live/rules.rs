//! The size of the bend on two plain rules: the fretted note below, the note to reach above, and the string's pitch as a column that
//! grows from the one to the other.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

/// Where the rules stand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rules {
    /// Row of the note to reach.
    pub upper: u16,
    /// Row of the fretted note.
    pub lower: u16,
}

impl Rules {
    /// Draws both lines over the width of `area`, each with its name at the right end.
    pub fn draw_lines(self, names: (&str, &str), style: Style, area: Rect, buffer: &mut Buffer) {
        for (row, name) in [(self.upper, names.0), (self.lower, names.1)] {
            for column in area.left()..area.right() {
                buffer[(column, row)].set_char('━').set_style(style);
            }
            let name = if name.is_empty() { String::new() } else { format!(" {name} ") };
            let wide = name.chars().count() as u16;
            if wide + 4 < area.width {
                buffer.set_string(area.right() - wide - 2, row, name, style);
            }
        }
    }

    /// Draws the pitch: a column that stands on the middle of the lower rule and ends on the middle of the upper one when the pitch is the
    /// one to reach. `share` is how far it is, 0 to 1 and beyond.
    pub fn draw_column(self, share: f64, style: Style, area: Rect, buffer: &mut Buffer) {
        const EIGHTHS: [char; 9] = [' ', '▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];
        let way = f64::from(self.lower - self.upper) * 8.0;
        let top = (share * way).round().max(0.0) as i32;
        if top == 0 {
            return;
        }
        for row in area.top()..=self.lower {
            // Eighths from the middle of the lower rule to the bottom of this row.
            let bottom = i32::from(self.lower - row) * 8 - 4;
            let filled = (top - bottom).clamp(0, 8);
            let glyph = if row == self.lower { '▀' } else { EIGHTHS[filled as usize] };
            if filled > 0 {
                for column in area.left()..area.right() {
                    buffer[(column, row)].set_char(glyph).set_style(style);
                }
            }
        }
    }

    /// Draws the hold as a bar under the upper rule, with a stroke on the rule at the length that was asked for, and under it in figures what it is;
    /// the rule's name stays free of it.
    pub fn draw_hold(self, hold: Hold, bar: Style, line: Style, area: Rect, buffer: &mut Buffer) {
        let column = |seconds: f64| (seconds * hold.columns_a_second).round() as u16;
        let wide = column(hold.held_s).min(area.width);
        for row in self.upper + 1..(self.upper + 3).min(self.lower) {
            for column in 0..wide {
                buffer[(area.x + column, row)].set_char('█').set_style(bar);
            }
        }
        let free = (0..area.width).take_while(|column| buffer[(area.x + column, self.upper)].symbol() == "━").count() as u16;
        if let Some(wanted) = hold.wanted_s.filter(|wanted| column(*wanted) < free) {
            buffer[(area.x + column(wanted), self.upper)].set_char('┿').set_style(line);
        }
        if self.upper + 3 < hold.free {
            buffer.set_stringn(area.x, self.upper + 3, hold.words(), usize::from(area.width), line);
        }
    }
}

/// A hold to be drawn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hold {
    /// How long so far.
    pub held_s: f64,
    /// How long it should be, where that was said.
    pub wanted_s: Option<f64>,
    /// How wide a second is.
    pub columns_a_second: f64,
    /// From this row on something else may stand.
    pub free: u16,
}

impl Hold {
    /// `held 1.2 s`, `held 1.2 of 1.5 s`.
    fn words(&self) -> String {
        let wanted = self.wanted_s.map(|wanted| format!("of {} ", (wanted * 10.0).round() / 10.0)).unwrap_or_default();
        format!("held {:.1} {wanted}s", self.held_s)
    }
}
