//! The page of `landfall play`: the chord now and the next one, large; the tones to land on, on the neck; what the player sounds.
//!
//! A function of its state: there is no clock in here. One file per visible thing.
//!
//! ```text
//! tune, bar, round, tempo
//! the chord now, large
//! the next chord, large, and in how many beats it comes
//! the neck with the degrees of the chord now; in its place, large, the verdict on a bend that was just played
//! what sounds; the last bend; a notice
//! ```

mod chords;
mod come_to;
mod plain;
mod targets;
mod verdict;

pub use come_to::{Bend, summary};
pub use plain::PlayLines;
pub use targets::lines as target_lines;

use crate::views::letters;
use crate::views::live::Look;
use crate::views::paragraph::cut;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::{Modifier, Style};

/// A chord to be shown.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Shown {
    /// As written: `Gm7`.
    pub text: String,
    /// The same in large letters.
    pub large: String,
    /// Its tones: `G Bb D F`, empty for N.C.
    pub tones: String,
}

/// Everything that the page shows.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PlayState {
    /// The tune's title.
    pub title: String,
    /// Bar, bars, round, rounds, beats a minute; `None` before the first and behind the last bar.
    pub place: Option<(usize, usize, usize, usize, f64)>,
    /// The number that is counted, before the tune begins.
    pub count: Option<u32>,
    /// The chord in force; in the count-in `None`.
    pub now: Option<Shown>,
    /// The next one, and in how many beats it comes.
    pub next: Option<(Shown, u32)>,
    /// The neck with the tones of the chord now, in the count-in of the first one.
    pub targets: Vec<String>,
    /// What sounds: note, cents off it, its place in the chord.
    pub sounds: Option<(String, i32, Option<String>)>,
    /// The verdict on the bend that was just played, in the place of the neck while it is new.
    pub verdict: Option<String>,
    /// The last bend in words.
    pub last: Option<String>,
    /// Whether the tune is over.
    pub over: bool,
    /// The last sentence that the player has to know.
    pub notice: Option<String>,
}

impl PlayState {
    /// The first line: tune, bar, round, tempo.
    #[must_use]
    pub fn heading(&self) -> String {
        let Some((bar, bars, round, rounds, tempo)) = self.place else {
            return if self.over { format!("{}: the tune is over", self.title) } else { self.title.clone() };
        };
        let round = if rounds > 1 { format!(", round {round} of {rounds}") } else { String::new() };
        format!("{}: bar {bar} of {bars}{round}, {tempo:.0} a minute", self.title)
    }

    /// What the player sounds, as a line.
    #[must_use]
    pub fn sounding(&self) -> String {
        let Some((note, cents, degree)) = &self.sounds else { return String::new() };
        let off = if *cents == 0 { "true".to_owned() } else { format!("{cents:+} c") };
        let degree = degree.as_ref().map(|degree| format!("the {degree}")).unwrap_or_default();
        format!("{note}  {off}  {degree}").trim_end().to_owned()
    }
}

/// Rows that are not letters: heading, sentence of the next chord, neck, what sounds, last bend, foot.
const AROUND: u16 = 5;

/// Draws the page.
pub fn draw(state: &PlayState, look: Look, area: Rect, buffer: &mut Buffer) {
    let bold = Style::new().add_modifier(Modifier::BOLD);
    if area.height < 6 || area.width < 20 {
        return draw_words_only(state, area, buffer);
    }
    text(area, area.y, &state.heading(), Style::new(), buffer);
    let neck = state.targets.len() as u16;
    // The neck goes first where there is no room for it.
    let neck = if area.height >= AROUND + neck + 2 * letters::LEAST_ROWS { neck } else { 0 };
    let room = area.height - AROUND - neck;
    let large = Rect { y: area.y + 1, height: room + 1, ..area };
    chords::draw(state, large, buffer);
    match &state.verdict {
        Some(verdict) if neck > 0 => verdict::draw(verdict, Rect { y: large.bottom(), height: neck, ..area }, buffer),
        _ => {
            for (row, line) in (large.bottom()..).zip(state.targets.iter().take(usize::from(neck))) {
                buffer.set_stringn(area.x, row, line, usize::from(area.width), Style::new());
            }
        }
    }
    text(area, area.bottom() - 3, &state.sounding(), look.own(), buffer);
    text(area, area.bottom() - 2, state.last.as_deref().unwrap_or_default(), bold, buffer);
    text(area, area.bottom() - 1, state.notice.as_deref().unwrap_or("q ends"), Style::new(), buffer);
}

/// For a terminal of a few lines: the chords, and what sounds.
fn draw_words_only(state: &PlayState, area: Rect, buffer: &mut Buffer) {
    let now = state.now.as_ref().map(|now| now.text.clone());
    let next = state.next.as_ref().map(|(next, beats)| chords::to_come(&next.text, *beats));
    let verdict = state.verdict.as_ref().map(|verdict| verdict.to_uppercase());
    let lines = now.into_iter().chain(verdict).chain(next).chain([state.sounding()]).chain(state.last.clone());
    for (row, line) in (area.top()..area.bottom()).zip(lines) {
        text(area, row, &line, Style::new().add_modifier(Modifier::BOLD), buffer);
    }
}

fn text(area: Rect, row: u16, words: &str, style: Style, buffer: &mut Buffer) {
    if row < area.bottom() && area.width > 0 {
        buffer.set_string(area.x, row, cut(words, usize::from(area.width)), style);
    }
}
