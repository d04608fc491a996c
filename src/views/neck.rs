//! The neck as text: strings as lines, frets drawn to scale, degrees where the finger goes.
//!
//! What stands on a string is the degree itself; the root is boxed, `[1]`; a scale note that is no chord tone has a dot before it,
//! `·4`. Frets are as wide, one against the other, as on a real neck as far as the characters allow. No colour is needed.

use crate::theory::{Neck, Note, Place};

/// What a mark stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// The chord's or scale's first note.
    Root,
    /// Another tone of the chord, or of a scale shown alone.
    Tone,
    /// A scale note outside the chord.
    Passing,
    /// Where a bend starts.
    Bend,
}

/// One thing to show at a place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mark {
    /// Where.
    pub place: Place,
    /// What is written there.
    pub text: String,
    /// What it stands for.
    pub kind: Kind,
}

impl Mark {
    /// The text as it stands on the string.
    fn token(&self) -> String {
        match self.kind {
            Kind::Root => format!("[{}]", self.text),
            Kind::Passing => format!("·{}", self.text),
            Kind::Tone | Kind::Bend => self.text.clone(),
        }
    }
}

/// A drawing of the neck.
#[derive(Clone, Debug)]
pub struct Board {
    /// What is drawn, for the line above it; may be empty.
    pub caption: String,
    /// String numbers from the top down with their open notes.
    pub strings: Vec<(u8, Note)>,
    /// The first fret drawn; 0 draws the nut.
    pub first: u8,
    /// The last fret drawn.
    pub last: u8,
    /// Whether the nut is on the right.
    pub left_handed: bool,
    /// What is on it.
    pub marks: Vec<Mark>,
    /// Places that belong together, for drawings that can join them.
    pub shapes: Vec<[Place; 3]>,
}

impl Board {
    /// An empty board of a neck.
    #[must_use]
    pub fn of(neck: &Neck, left_handed: bool) -> Self {
        let strings = (1..=neck.strings()).filter_map(|string| Some((string, neck.tuning().open(string)?))).collect();
        Self { caption: String::new(), strings, first: 0, last: neck.frets(), left_handed, marks: Vec::new(), shapes: Vec::new() }
    }

    /// Only some of the frets.
    #[must_use]
    pub fn between(mut self, frets: Option<(u8, u8)>) -> Self {
        if let Some((first, last)) = frets {
            (self.first, self.last) = (first.min(last), last);
        }
        self
    }

    /// The marks at a place; several are joined.
    fn token(&self, place: Place) -> String {
        self.marks.iter().filter(|mark| mark.place == place).map(Mark::token).collect()
    }

    /// The drawing in lines of at most `width` characters (as far as five frets can be), in as many rows of frets as that takes.
    #[must_use]
    pub fn lines(&self, width: usize) -> Vec<String> {
        let drawn = |mark: &&Mark| (self.first..=self.last).contains(&mark.place.fret);
        let widest = self.marks.iter().filter(drawn).map(|mark| self.token(mark.place).chars().count()).max().unwrap_or(1).max(3);
        let labels = self.strings.iter().map(|(_, note)| note.to_string().len()).max().unwrap_or(2) + 3;
        let room = width.saturating_sub(labels + widest + 3);
        let most = (room / (widest + 1)).max(5);
        let mut lines = Vec::new();
        if !self.caption.is_empty() {
            lines.push(self.caption.clone());
        }
        for (first, last) in rows(self.first, self.last, most) {
            // Rows are drawn to one scale: a row of fewer frets is not stretched to the margin.
            let cells = cell_widths(first.max(1), last, widest + 1, room);
            lines.push(self.numbers(first, last, &cells, labels, widest));
            for index in 0..self.strings.len() {
                lines.push(self.string_line(index, (first, last), &cells, labels, widest));
            }
        }
        lines
    }

    fn numbers(&self, first: u8, last: u8, cells: &[usize], labels: usize, widest: usize) -> String {
        let open = if first == 0 { format!("{:>widest$} ", 0) } else { " ".repeat(widest + 1) };
        let mut parts = vec![" ".repeat(labels), open];
        for (fret, cell) in (first.max(1)..=last).zip(cells) {
            let end = cell - 1 - usize::from(*cell > widest + 1);
            parts.push(pad_right(&format!("{fret:>end$}"), *cell));
        }
        let line = if self.left_handed { parts.iter().rev().map(|part| mirrored(part)).collect() } else { parts.concat() };
        line.trim_end().to_string()
    }

    fn string_line(&self, index: usize, (first, last): (u8, u8), cells: &[usize], labels: usize, widest: usize) -> String {
        let (string, note) = self.strings[index];
        let label = pad_right(&format!("{string} {note}"), labels);
        let wire = match index {
            0 => '┬',
            _ if index + 1 == self.strings.len() => '┴',
            _ => '┼',
        };
        let start = if first == 0 { '║' } else { '┊' };
        let open = if first == 0 { self.token(Place { string, fret: 0 }) } else { String::new() };
        let mut parts = vec![label.clone(), format!("{open:>widest$}"), start.to_string()];
        for (fret, cell) in (first.max(1)..=last).zip(cells) {
            let token = self.token(Place { string, fret });
            let length = token.chars().count();
            let after = usize::from(*cell > widest + 1);
            let before = (cell - 1 - after).saturating_sub(length);
            let cell = ["─".repeat(before), token, "─".repeat(after), wire.to_string()];
            parts.push(if self.left_handed { cell.iter().rev().cloned().collect() } else { cell.concat() });
        }
        if self.left_handed {
            parts[1] = format!(" {open:<widest$} ");
            parts[0] = label;
            parts.reverse();
        }
        parts.concat().trim_end().to_string()
    }
}

/// The rows of frets that a neck is drawn in: octaves where one row is too long, else as many as there is room for.
fn rows(first: u8, last: u8, most: usize) -> Vec<(u8, u8)> {
    let mut rows = Vec::new();
    let most = if usize::from(last - first) > most && most >= 12 { 12 } else { most } as u8;
    let mut from = first;
    loop {
        let to = last.min(from.max(1).saturating_add(most - 1));
        rows.push((from, to));
        if to >= last {
            return rows;
        }
        from = to + 1;
    }
}

/// Characters for each fret: as fret distances go (`2^(-n/12)`), none under `narrowest`, `room` in all at most.
fn cell_widths(first: u8, last: u8, narrowest: usize, room: usize) -> Vec<usize> {
    let span = |fret: u8| (-f64::from(fret - 1) / 12.0).exp2() - (-f64::from(fret) / 12.0).exp2();
    let frets: Vec<u8> = (first..=last).collect();
    let whole: f64 = frets.iter().map(|fret| span(*fret)).sum();
    // A few frets alone are not blown up over the whole line.
    let room = room.min(frets.len() * 9).max(frets.len() * narrowest);
    let mut cells: Vec<usize> = frets.iter().map(|fret| ((room as f64 * span(*fret) / whole) as usize).max(narrowest)).collect();
    while cells.iter().sum::<usize>() > room {
        let Some(widest) = (0..cells.len()).filter(|i| cells[*i] > narrowest).max_by_key(|i| (cells[*i], usize::MAX - i)) else { break };
        cells[widest] -= 1;
    }
    cells
}

fn pad_right(text: &str, width: usize) -> String {
    format!("{text:<width$}")
}

/// A piece of the line of numbers as it stands in a left-handed drawing: what was at its end is at its beginning.
fn mirrored(part: &str) -> String {
    let text = part.trim();
    let before = part.len() - part.trim_end().len();
    let text = format!("{}{text}", " ".repeat(before));
    format!("{text:<width$}", width = part.len())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::theory::Tuning;

    fn board(left_handed: bool) -> Board {
        let neck = Neck::new(Tuning::standard(), 22).unwrap();
        let mut board = Board::of(&neck, left_handed);
        for (string, fret, text, kind) in [(1, 5, "1", Kind::Root), (2, 0, "b13", Kind::Tone), (6, 12, "4", Kind::Passing)] {
            board.marks.push(Mark { place: Place { string, fret }, text: text.into(), kind });
        }
        board
    }

    #[test]
    fn the_neck_fits_80_columns_for_every_hand_and_length() {
        for left_handed in [false, true] {
            for line in board(left_handed).lines(80) {
                assert!(line.chars().count() <= 80, "{line}");
            }
        }
    }

    #[test]
    fn frets_grow_narrower_up_the_neck() {
        let cells = cell_widths(1, 12, 4, 70);
        assert!(cells.is_sorted_by(|a, b| a >= b) && cells[0] > cells[11], "{cells:?}");
        assert!(cells.iter().sum::<usize>() <= 70);
    }

    #[test]
    fn the_root_is_boxed_and_a_passing_note_dotted() {
        let text = board(false).lines(80).join("\n");
        assert!(text.contains("[1]") && text.contains("·4") && text.contains("b13"), "{text}");
    }
}
