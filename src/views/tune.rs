//! The tuner's page: which string, and a word that can be read from two metres; nothing moves but the words.
//!
//! ```text
//! a sentence: which string, how far off, how certain
//! what to do
//! large: the string's number and its note
//!
//! large: in tune, flat 7, sharp 3
//!
//! all strings, and what was said last of each
//! ```

use crate::practice::tuner::{NOTHING_CENTS, OpenString, Sounds, Tuned, Tuner, TuningWord};
use crate::theory::Note;
use crate::views::letters;
use crate::views::live::Look;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::{Modifier, Style};

/// The widest word.
const WIDEST: &str = "sharp 88";
/// The widest name.
const WIDEST_NAME: &str = "8  F#1";

/// Everything that the tuner shows.
#[derive(Clone, Debug)]
pub struct TunePage {
    /// What is said of the strings.
    pub tuner: Tuner,
    /// Whether the last note still sounds.
    pub sounding: bool,
    /// A sentence that the player has to know.
    pub notice: Option<String>,
}

/// One reading as a line of text; `at_s` is when it was known, in seconds of the take.
#[must_use]
pub fn line(tuner: &Tuner, tuned: &Tuned, at_s: f64, hz: f64) -> String {
    let uncertainty = tuned.steady.give_or_take_cents();
    // What is no string's has its note for a word.
    let word = if tuned.word == TuningWord::Other { String::new() } else { format!(" {}", tuned.word) };
    format!("{at_s:.2} s: {}{word} ({:+.1} ± {uncertainty:.1} c, {hz:.2} Hz)", name(tuner, tuned), nonzero(tuned.error_cents))
}

/// What was said last of each string, a line each; empty where none was heard.
#[must_use]
pub fn summary(tuner: &Tuner) -> String {
    let lines = (0..tuner.strings().len()).filter_map(|string| {
        let tuned = tuner.last(string)?;
        let uncertainty = tuned.steady.give_or_take_cents();
        let OpenString { number, note, .. } = &tuner.strings()[string];
        Some(format!("string {number} {note}: {} ({:+.1} ± {uncertainty:.1} c)\n", tuned.word, nonzero(tuned.error_cents)))
    });
    lines.collect()
}

/// No minus before a zero.
fn nonzero(cents: f64) -> f64 {
    if cents.abs() < NOTHING_CENTS { 0.0 } else { cents }
}

fn name(tuner: &Tuner, tuned: &Tuned) -> String {
    let string = |string: usize| format!("string {} {}", tuner.strings()[string].number, tuner.strings()[string].note);
    match tuned.sounds {
        Sounds::Open(open) => string(open),
        Sounds::Harmonic(open) => format!("{}, harmonic at fret 12,", string(open)),
        Sounds::Other => format!("no string of this tuning, {}", Note::usual(tuned.nearest_midi)),
    }
}

/// The first line of the page.
fn sentence(page: &TunePage) -> String {
    let Some(tuned) = page.tuner.now() else { return "Pluck one string and let it ring.".to_owned() };
    let error = tuned.error_cents;
    // What rounds to nothing is on neither side.
    let side = if error.abs() < NOTHING_CENTS {
        "off"
    } else if error < 0.0 {
        "flat"
    } else {
        "sharp"
    };
    let uncertainty = tuned.steady.give_or_take_cents();
    let mut text = name(&page.tuner, tuned);
    text[..1].make_ascii_uppercase();
    let text = text.trim_end_matches(',');
    format!("{text}: {:.1} cents {side}, give or take {uncertainty:.1}.", error.abs())
}

/// What to do, where there is something.
fn todo(tuned: &Tuned) -> &'static str {
    match (tuned.sounds, tuned.word) {
        (Sounds::Other, _) | (_, TuningWord::InTune | TuningWord::Nearly | TuningWord::Settling | TuningWord::Other) => "",
        (_, TuningWord::Flat(_)) => "Tighten it.",
        // A string that comes down to its note slips on; one that comes up to it stays. Common practice, no source.
        (_, TuningWord::Sharp(_)) => "Loosen it to just below, then come up.",
    }
}

/// String and note in large letters.
fn large_name(tuner: &Tuner, tuned: &Tuned) -> String {
    let flat = |name: String| name.replace('b', "♭");
    match tuned.sounds.string().map(|string| &tuner.strings()[string]) {
        Some(OpenString { number, note, .. }) => format!("{number}  {}", flat(note.to_string())),
        None => flat(Note::usual(tuned.nearest_midi).to_string()),
    }
}

/// Three figures do not fit behind `sharp`: an error of a semitone and more is the word alone, and the sentence says how much.
fn large_word(word: TuningWord) -> String {
    match word {
        TuningWord::Flat(100..) => "flat".to_owned(),
        TuningWord::Sharp(100..) => "sharp".to_owned(),
        word => word.to_string(),
    }
}

/// Rows of the large letters, and where they stand.
struct Plan {
    name: Option<(u16, u16)>,
    word: Option<(u16, u16)>,
    strings: Option<u16>,
}

impl Plan {
    fn new(area: Rect) -> Self {
        let columns = area.width.saturating_sub(1);
        // Sentence, free row; free row, two rows of strings, notice.
        let Some(room) = area.height.checked_sub(6) else { return Self { name: None, word: None, strings: None } };
        let both = room.checked_sub(1).and_then(|room| letters::tallest(WIDEST, columns, room / 2));
        // Where the widest word does not fit, shorter ones may; a word that does not is written small.
        let alone = letters::tallest(WIDEST, columns, room)
            .or_else(|| (columns >= 40 && room >= letters::LEAST_ROWS).then_some(letters::LEAST_ROWS));
        let strings = Some(area.bottom() - 3);
        let top = area.y + 2;
        match (both, alone) {
            (Some(word), _) => {
                let name = letters::tallest(WIDEST_NAME, columns, (room - 1 - word).min(word + 3)).unwrap_or(word);
                let spare = (room - 1 - word - name) / 2;
                Self { name: Some((top, name)), word: Some((top + name + 1 + spare, word)), strings }
            }
            (None, Some(word)) => Self { name: None, word: Some((top, word)), strings },
            (None, None) => Self { name: None, word: None, strings: (room >= 2).then_some(area.bottom() - 3) },
        }
    }
}

/// Draws the page into `area`.
pub fn draw(page: &TunePage, look: Look, area: Rect, buffer: &mut Buffer) {
    let bold = Style::new().add_modifier(Modifier::BOLD);
    text(area, area.y, &sentence(page), bold, buffer);
    let plan = Plan::new(area);
    if let Some(tuned) = page.tuner.now() {
        // What no longer sounds stays, but without weight.
        let own = if page.sounding { look.own().add_modifier(Modifier::BOLD) } else { Style::new() };
        large(&large_name(&page.tuner, tuned), plan.name, bold, area, buffer);
        let word = large_word(tuned.word);
        match plan.word {
            Some(_) => large(&word, plan.word, own, area, buffer),
            None => text(area, area.y + 1, &word.to_uppercase(), own, buffer),
        }
        if plan.name.is_some() {
            text(area, area.y + 1, todo(tuned), Style::new(), buffer);
        }
    }
    if let Some(row) = plan.strings {
        draw_strings(&page.tuner, row, area, buffer);
    }
    if area.height > 2 {
        text(area, area.bottom() - 1, page.notice.as_deref().unwrap_or("q ends"), Style::new(), buffer);
    }
}

fn draw_strings(tuner: &Tuner, row: u16, area: Rect, buffer: &mut Buffer) {
    let count = tuner.strings().len().max(1) as u16;
    let wide = (area.width / count).min(13);
    for (column, (place, string)) in (0..count).zip(tuner.strings().iter().enumerate()) {
        let cell = Rect { x: area.x + column * wide, width: wide.saturating_sub(1), ..area };
        text(cell, row, &format!("{} {}", string.number, string.note), Style::new(), buffer);
        let said = match tuner.last(place) {
            Some(Tuned { word: TuningWord::InTune, .. }) => "in tune".to_owned(),
            Some(Tuned { word: TuningWord::Settling, .. }) => "...".to_owned(),
            Some(tuned) => format!("{:+.0}", if tuned.error_cents.abs() < 0.5 { 0.0 } else { tuned.error_cents }),
            None => String::new(),
        };
        text(cell, row + 1, &said, Style::new(), buffer);
    }
}

fn large(word: &str, place: Option<(u16, u16)>, style: Style, area: Rect, buffer: &mut Buffer) {
    let Some((top, rows)) = place else { return };
    if letters::width(word, rows) <= area.width {
        letters::draw(word, rows, style, Rect { y: top, height: rows, ..area }, buffer);
    } else {
        text(area, top, &word.to_uppercase(), style, buffer);
    }
}

/// One row of plain letters, cut where the area ends.
pub(super) fn text(area: Rect, row: u16, words: &str, style: Style, buffer: &mut Buffer) {
    if row < area.bottom() && area.width > 0 {
        buffer.set_stringn(area.x, row, words, usize::from(area.width), style);
    }
}
