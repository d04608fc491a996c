//! The tuner, live: from sustained pitches to its page or its lines.

use super::steady_run::Listens;
use crate::notes::steady::Sustain;
use crate::practice::tuner::Tuner;
use crate::units::A4;
use crate::views::live::Look;
use crate::views::tune::{TunePage, draw, line};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

/// Makes the page, or lines, of what is heard.
pub struct Tuning {
    page: TunePage,
    look: Look,
    a4: A4,
    lines: Vec<String>,
}

impl Tuning {
    /// With these strings, against a reference.
    #[must_use]
    pub fn new(tuner: Tuner, a4: A4, look: Look) -> Self {
        Self { page: TunePage { tuner, sounding: false, notice: None }, look, a4, lines: Vec::new() }
    }

    /// What was said of the strings.
    #[must_use]
    pub fn tuner(&self) -> &Tuner {
        &self.page.tuner
    }
}

impl Listens for Tuning {
    fn hear(&mut self, sustain: Sustain, at_s: f64) {
        match sustain {
            Sustain::Steady(steady) => {
                let tuned = self.page.tuner.hear(steady);
                self.page.sounding = true;
                self.lines.push(line(&self.page.tuner, &tuned, at_s, self.a4.hz_of(steady.cents)));
            }
            Sustain::Ended => self.page.sounding = false,
        }
    }

    fn notice(&mut self, sentence: String) {
        self.lines.push(sentence.clone());
        self.page.notice = Some(sentence);
    }

    fn lines(&mut self) -> Vec<String> {
        std::mem::take(&mut self.lines)
    }

    fn draw(&self, area: Rect, buffer: &mut Buffer) {
        draw(&self.page, self.look, area, buffer);
    }
}
