//! The page of the ten seconds before the first drill: what to do now, and afterwards what is to be mended, large enough for two metres.

use crate::practice::check::Finding;
use crate::views::letters;
use crate::views::paragraph::broken;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::{Modifier, Style};

/// The tallest letters, rows.
const TALLEST: u16 = 9;

/// What is to be done.
#[derive(Clone, Debug, PartialEq)]
pub enum Step {
    /// No string sounds, for so many more seconds.
    Quiet(u32),
    /// Each open string is picked, for so many more seconds.
    Pick {
        /// Seconds left.
        left_s: u32,
        /// Strings that were heard, 1 the highest.
        heard: Vec<usize>,
        /// Strings that were not.
        missing: Vec<usize>,
    },
    /// It is over; nothing where all is well.
    Found(Vec<Finding>),
}

/// Everything that the page shows.
#[derive(Clone, Debug, PartialEq)]
pub struct CheckPage {
    /// What is to be done.
    pub step: Step,
    /// A sentence that the player has to know: a lost card.
    pub notice: Option<String>,
}

/// Draws the page into `area`.
pub fn draw(page: &CheckPage, area: Rect, buffer: &mut Buffer) {
    let bold = Style::new().add_modifier(Modifier::BOLD);
    let (sentence, keys) = match &page.step {
        Step::Quiet(_) => ("First: leave the strings quiet.", "space leaves this out, q ends"),
        Step::Pick { .. } => ("Now pick each open string once, and let it ring.", "space leaves this out, q ends"),
        Step::Found(found) if found.is_empty() => ("Level, quiet and tuning are good.", "space goes on, q ends"),
        Step::Found(_) => ("Before you play:", "space or your first note goes on, q ends"),
    };
    text(area, area.y, sentence, bold, buffer);
    text(area, area.bottom().saturating_sub(1), page.notice.as_deref().unwrap_or(keys), Style::new(), buffer);
    // Under the sentence and a free row, over a free row and the keys.
    let room = Rect { y: area.y + 2, height: area.height.saturating_sub(4), ..area };
    match &page.step {
        Step::Quiet(left_s) => {
            word(&format!("quiet {left_s}"), TALLEST, room, buffer);
        }
        Step::Pick { left_s, heard, missing } => {
            let below = room.y + word(&format!("pick {left_s}"), TALLEST, room, buffer) + 1;
            let list = |strings: &[usize]| strings.iter().rev().map(usize::to_string).collect::<Vec<_>>().join(" ");
            let said = [("heard", heard), ("still to come", missing)];
            let said = said.iter().filter(|(_, strings)| !strings.is_empty());
            let said: Vec<String> = said.map(|(what, strings)| format!("{what}: {}", list(strings))).collect();
            text(area, below, &format!("Strings {}", said.join("   ")), Style::new(), buffer);
        }
        Step::Found(found) if found.is_empty() => {
            word("good", TALLEST, room, buffer);
        }
        Step::Found(found) => draw_found(found, room, buffer),
    }
}

/// As many findings as fit have their word in large letters, all of them their sentence.
fn draw_found(found: &[Finding], room: Rect, buffer: &mut Buffer) {
    let lines: Vec<Vec<String>> = found.iter().map(|finding| broken(&finding.sentence, usize::from(room.width), 2)).collect();
    let sentences: u16 = lines.iter().map(|lines| lines.len() as u16).sum();
    let tallest = if found.len() == 1 { TALLEST } else { letters::LEAST_ROWS };
    // A word and the free row under its sentence.
    let one = tallest.min(room.height.saturating_sub(sentences)) + 1;
    let large = (0..=found.len()).rev().find(|large| sentences + *large as u16 * one <= room.height + 1).unwrap_or(0);
    let mut y = room.y;
    for (index, (finding, lines)) in found.iter().zip(&lines).enumerate() {
        if index < large {
            y += word(&finding.word, tallest, Rect { y, height: room.bottom().saturating_sub(y), ..room }, buffer);
        }
        for line in lines {
            if y < room.bottom() {
                text(room, y, line, Style::new(), buffer);
            }
            y += 1;
        }
        y += u16::from(index < large);
    }
}

/// A word in letters as tall as there is room for, else in capitals; how many rows it takes.
fn word(word: &str, most: u16, room: Rect, buffer: &mut Buffer) -> u16 {
    let bold = Style::new().add_modifier(Modifier::BOLD);
    if let Some(rows) = letters::tallest(word, room.width, room.height.min(most)) {
        letters::draw(word, rows, bold, Rect { height: rows, ..room }, buffer);
        rows
    } else {
        text(room, room.y, &word.to_uppercase(), bold, buffer);
        1
    }
}

fn text(area: Rect, row: u16, words: &str, style: Style, buffer: &mut Buffer) {
    if row < area.bottom() && area.width > 0 {
        buffer.set_stringn(area.x, row, words, usize::from(area.width), style);
    }
}
