//! The intonation check, live: asks for the next note when one was read.

use super::steady_run::Listens;
use super::world::Key;
use crate::notes::steady::Sustain;
use crate::practice::intonation::{Answer, Check};
use crate::views::intonation::{IntonationPage, answer, ask, draw};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

/// Asks, and takes the answers.
pub struct Checking {
    page: IntonationPage,
    lines: Vec<String>,
    /// The last note that was another than the one asked for.
    another: Option<u32>,
}

impl Checking {
    /// Begins with what the check asks for first.
    #[must_use]
    pub fn new(check: Check) -> Self {
        let lines = check.asked().map(|asked| ask(&check, asked)).into_iter().collect();
        Self { page: IntonationPage { check, answer: None, notice: None }, lines, another: None }
    }

    /// What was read.
    #[must_use]
    pub fn check(&self) -> &Check {
        &self.page.check
    }
}

impl Listens for Checking {
    fn hear(&mut self, sustain: Sustain, _: f64) {
        let Sustain::Steady(steady) = sustain else { return };
        let page = &mut self.page;
        let asked = page.check.asked();
        let heard = page.check.hear(&steady);
        // The note that was read rings on: what was read stays to be seen.
        if heard == Answer::Read {
            return;
        }
        let told = page.answer.replace(heard) != Some(heard);
        if !told || matches!(heard, Answer::Settling | Answer::Done) {
            return;
        }
        // Another note is said once, however long it rings, with what is asked for in its place.
        let is_another = matches!(heard, Answer::Another(_));
        if is_another && self.another.replace(steady.note) == Some(steady.note) {
            return;
        }
        let said = answer(&page.check, heard).into_iter().chain(asked.filter(|_| is_another).map(|asked| ask(&page.check, asked)));
        self.lines.push(said.collect::<Vec<_>>().join(" "));
        let next = page.check.asked();
        let another = next.map(|next| (next.string, next.place)) != asked.map(|asked| (asked.string, asked.place));
        if let Some(next) = next.filter(|_| another) {
            self.lines.push(ask(&page.check, next));
        }
    }

    fn key(&mut self, key: Key) {
        let check = &mut self.page.check;
        match key {
            Key::Next => check.skip_string(),
            Key::Back => check.repeat_string(),
            _ => return,
        }
        self.page.answer = None;
        self.lines.extend(self.page.check.asked().map(|next| ask(&self.page.check, next)));
    }

    fn notice(&mut self, sentence: String) {
        self.lines.push(sentence.clone());
        self.page.notice = Some(sentence);
    }

    fn lines(&mut self) -> Vec<String> {
        std::mem::take(&mut self.lines)
    }

    fn draw(&self, area: Rect, buffer: &mut Buffer) {
        draw(&self.page, area, buffer);
    }

    fn has_enough(&self) -> bool {
        self.page.check.asked().is_none()
    }
}
