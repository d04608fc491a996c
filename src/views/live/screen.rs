//! The page of the live view: sentence, rules, large words, figures.
//!
//! ```text
//! what to play, in a sentence
//! the chord
//!  ticks  column  large word
//! ──────────────────────────── the note to reach
//!                 hold
//!                 large word of the release; before the first note string and fret
//! ──────────────────────────── the fretted note
//! three figures
//! ```

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::{Color, Modifier, Style};

use super::rules::{Hold, Rules};
use super::{LANDINGS_SHOWN, LiveState, Page, another, count, figures, landings};
use crate::theory::Note;
use crate::views::letters;
use crate::views::paragraph::{broken, cut};

/// The keys of a drill. The other ones that foot switches send are in the command's help.
const KEYS: &str = "space goes on, backspace asks once more, q ends";
/// The widest verdict.
const WIDEST: &str = "short 88";
/// Columns of the string's pitch.
const COLUMN: u16 = 4;
/// Columns left of the large words: ticks, a space, the pitch's column, a space.
const MARGIN: u16 = LANDINGS_SHOWN as u16 + 1 + COLUMN + 2;

/// How it may look.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Look {
    /// Whether the player's own sound is set off by a colour. Nothing is said by colour alone.
    pub colour: bool,
}

impl Look {
    /// The player's own sound.
    #[must_use]
    pub fn own(self) -> Style {
        // Magenta is readable on light and on dark grounds, and is nobody's "right" or "wrong".
        if self.colour { Style::new().fg(Color::Magenta) } else { Style::new() }
    }

    fn word() -> Style {
        Style::new().add_modifier(Modifier::BOLD)
    }
}

/// Where everything stands, from the size of the terminal alone.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Plan {
    /// First row under the sentences.
    top: u16,
    rules: Rules,
    /// Rows of the large letters; `None` where they do not fit.
    letters: Option<u16>,
    /// Whether there is room for the release's word between the rules.
    two_words: bool,
}

impl Plan {
    /// `None` where there is no room for two rules.
    fn new(area: Rect) -> Option<Self> {
        // Above: sentence, chord. Below: figures, notice.
        let (above, below) = if area.height >= 16 { (2, 1 + foot_rows(area)) } else { (1, 1) };
        let room = area.height.checked_sub(above + below).filter(|&room| room >= 5)?;
        // A word on each rule (with a free row above), two rows of hold, the rules themselves.
        let columns = area.width.saturating_sub(MARGIN + 1);
        let two = room.checked_sub(6).and_then(|left| letters::tallest(WIDEST, columns, left / 2));
        let one = room.checked_sub(5).and_then(|left| letters::tallest(WIDEST, columns, left.saturating_sub(2)));
        // Where the widest verdict does not fit, shorter ones may; a word that does not is written small.
        let word = two.or(one).or_else(|| (columns >= 40 && room >= 5 + 2 + letters::LEAST_ROWS).then_some(letters::LEAST_ROWS));
        let two_words = room >= 6 + 2 * word.unwrap_or(room);
        let upper = area.y + above + word.map_or(1, |rows| rows + 1);
        Some(Self { top: area.y + above, rules: Rules { upper, lower: area.y + above + room - 1 }, letters: word, two_words })
    }
}

/// Rows of the sentence at the foot: most are longer than a narrow terminal is wide. With 20 rows, both large words need all that there are.
fn foot_rows(area: Rect) -> u16 {
    if area.width < 80 && area.height > 20 { 2 } else { 1 }
}

/// Draws the whole page into `area`.
pub fn draw(state: &LiveState, look: Look, area: Rect, buffer: &mut Buffer) {
    let Some(plan) = Plan::new(area) else { return draw_words_only(state, area, buffer) };
    let bold = Look::word();
    let next = if state.page.as_ref().is_some_and(|page| page.ask != state.ask) { "Next: " } else { "" };
    let step = state.lesson.as_ref().filter(|_| plan.top == area.y + 1).map_or(0, |lesson| lesson.short_place().chars().count());
    let room = usize::from(area.width).saturating_sub(next.len() + step);
    text(area, area.y, &format!("{next}{}", state.ask.sentence_within(room)), bold, buffer);
    if plan.top > area.y + 1
        && let Some(second) = count::second_line(state, area.width.saturating_sub(beside(state) + 2))
    {
        text(area, area.y + 1, &second, Style::new(), buffer);
    }
    if let Some(lesson) = &state.lesson {
        // With one row above the rules, the sentence needs it; the step is then a figure at its end.
        let (place, row) = if plan.top > area.y + 1 { (lesson.place(), area.y + 1) } else { (lesson.short_place(), area.y) };
        let wide = place.chars().count() as u16;
        if wide < area.width {
            text(Rect { x: area.right() - wide, width: wide, ..area }, row, &place, Style::new(), buffer);
        }
    }
    let names = names(state);
    plan.rules.draw_lines((&names.0, &names.1), Style::new(), area, buffer);
    let ticks = Rect { y: plan.top, width: area.width.min(LANDINGS_SHOWN as u16), height: plan.rules.lower - plan.top, ..area };
    landings::draw(&state.landings, bold, Style::new(), ticks, plan.rules.upper, buffer);
    if let Some(page) = state.page.as_ref().filter(|_| state.rest().is_none()) {
        draw_note(state, page, plan, look, area, buffer);
    }
    let words = Rect { x: area.x + MARGIN, width: area.width.saturating_sub(MARGIN), ..area };
    if let Some(rows) = plan.letters {
        let above = Rect { y: plan.rules.upper.saturating_sub(rows), height: rows, ..words };
        let below = Rect { y: plan.rules.lower.saturating_sub(rows), height: if plan.two_words { rows } else { 0 }, ..words };
        count::draw(state, look, above, below, buffer);
    }
    if let Some(word) = state.headline() {
        large(&word, plan.letters, plan.rules.upper, words, buffer);
    }
    if let Some(word) = state.homecoming() {
        if plan.two_words {
            large(&word, plan.letters, plan.rules.lower, words, buffer);
        } else {
            text(words, plan.rules.lower - 1, &format!("home: {word}"), bold, buffer);
        }
    } else if let Some(place) = state.place_word().filter(|_| plan.two_words) {
        large(&place, plan.letters, plan.rules.lower, words, buffer);
    }
    draw_foot(state, area, buffer);
}

/// Columns that the step takes at the right of the second line.
fn beside(state: &LiveState) -> u16 {
    state.lesson.as_ref().map_or(0, |lesson| lesson.place().chars().count() as u16)
}

/// The moving part.
fn draw_note(state: &LiveState, page: &Page, plan: Plan, look: Look, area: Rect, buffer: &mut Buffer) {
    if let (Some(cents), Some((origin, target))) = (page.cents, page.aim.or_else(|| guessed(page)))
        && !state.is_hidden()
        && !state.is_withheld()
    {
        let left = area.x + LANDINGS_SHOWN as u16 + 1;
        let column = Rect { x: left, width: COLUMN.min(area.right().saturating_sub(left)), ..area };
        let column = Rect { y: plan.top, ..column };
        plan.rules.draw_column((cents - origin) / (target - origin), look.own(), column, buffer);
    }
    if let Some(held) = page.hold_s() {
        let room = Rect { x: area.x + MARGIN, width: area.width.saturating_sub(MARGIN + 1), ..area };
        // Four seconds fit, or one and a half of what was asked for.
        let longest = page.ask.hold_s.map_or(4.0, |wanted| (1.5 * wanted).max(4.0));
        let columns_a_second = (f64::from(room.width) / longest).floor();
        // The letters of a second word begin above the lower rule.
        let free = if plan.two_words { plan.rules.lower.saturating_sub(plan.letters.unwrap_or(1)) } else { plan.rules.lower };
        let hold = Hold { held_s: held, wanted_s: page.ask.hold_s, columns_a_second, free };
        plan.rules.draw_hold(hold, look.own(), Style::new(), room, buffer);
    }
}

/// Without a wish, before the bend has said what it aims at: the note that sounds, and a whole step above it.
fn guessed(page: &Page) -> Option<(f64, f64)> {
    let origin = (page.cents? / 100.0).round() * 100.0;
    Some((origin, origin + 200.0))
}

/// The names on the rules, as far as they are known.
fn names(state: &LiveState) -> (String, String) {
    let heard = state.page.as_ref().and_then(|page| page.aim);
    let ask = state.page.as_ref().map_or(&state.ask, |page| &page.ask);
    let fingered = |sounding: f64| Note::usual((sounding / 100.0).round() as i32 - ask.sounds_higher()).to_string();
    let name = |asked: Option<&(f64, String)>, heard: Option<f64>| match (asked, heard) {
        (Some((cents, name)), None) => Some((*cents, name.clone())),
        (Some((cents, name)), Some(heard)) if (cents - heard).abs() < 1.0 => Some((*cents, name.clone())),
        (_, Some(heard)) => Some((heard, fingered(heard))),
        (None, None) => None,
    };
    let target = name(ask.target.as_ref(), heard.map(|(_, target)| target));
    let origin = name(ask.origin.as_ref(), heard.map(|(origin, _)| origin));
    (target.map_or_else(String::new, |(_, name)| name), origin.map_or_else(String::new, |(_, name)| name))
}

/// A word in large letters that stands on row `rule`; in plain bold ones where there is no room.
fn large(word: &str, rows: Option<u16>, rule: u16, words: Rect, buffer: &mut Buffer) {
    match rows {
        Some(rows) if letters::width(&letters::of_notes(word), rows) <= words.width => {
            let place = Rect { y: rule - rows, height: rows, ..words };
            letters::draw(&letters::of_notes(word), rows, Look::word(), place, buffer);
        }
        _ => text(words, rule - 1, &capitals(word), Look::word(), buffer),
    }
}

/// In capitals, but for the names of notes: a flat is a small b.
fn capitals(word: &str) -> String {
    let one = |word: &str| if word.starts_with(char::is_uppercase) { word.to_owned() } else { word.to_uppercase() };
    word.split(' ').map(one).collect::<Vec<_>>().join(" ")
}

fn draw_foot(state: &LiveState, area: Rect, buffer: &mut Buffer) {
    let row = state.page.as_ref().and_then(|page| page.row.as_ref());
    let figures_of = |row| figures::of(row).into_iter().chain(state.guessed()).collect::<Vec<_>>().join("   ");
    let figures = row.map(|row| another(row).unwrap_or_else(|| figures_of(row))).unwrap_or_default();
    let figures = match (state.question(), state.is_withheld() || state.rest().is_some()) {
        (Some(question), _) => question.to_owned(),
        (None, true) => String::new(),
        (None, false) => figures,
    };
    // Between two notes there are no figures, and time to look for a key.
    let keys = state.lesson.is_some() && figures.is_empty() && !state.is_withheld();
    let (line, style) = if keys { (KEYS, Style::new()) } else { (figures.as_str(), Look::word()) };
    let last = area.bottom() - 1;
    if area.height >= 16 {
        let rows = foot_rows(area);
        text(area, last - rows, line, style, buffer);
        for (row, line) in (last + 1 - rows..).zip(broken(&state.foot(), usize::from(area.width), usize::from(rows))) {
            text(area, row, &line, Style::new(), buffer);
        }
    } else {
        let (line, style) = state.notice.as_deref().map_or((line, style), |notice| (notice, Look::word()));
        text(area, last, line, style, buffer);
    }
}

/// For a terminal of a few lines: what to play, and the verdict.
fn draw_words_only(state: &LiveState, area: Rect, buffer: &mut Buffer) {
    let words = [state.headline().map(|word| capitals(&word)), state.homecoming().map(|word| format!("home: {word}"))];
    let sentence = state.notice.clone().unwrap_or_else(|| state.ask.sentence_within(usize::from(area.width)));
    let lines = words.into_iter().flatten().chain([sentence]);
    for (row, line) in (area.top()..area.bottom()).zip(lines) {
        text(area, row, &line, Look::word(), buffer);
    }
}

fn text(area: Rect, row: u16, words: &str, style: Style, buffer: &mut Buffer) {
    if row < area.bottom() && area.width > 0 {
        buffer.set_string(area.x, row, cut(words, usize::from(area.width)), style);
    }
}
