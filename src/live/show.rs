//! The two ways to show a live run: a page on the terminal, or plain lines.

use super::events::Event;
use super::session::View;
use crate::pitch::Reading;
use crate::sound::FaultKind;
use crate::units::{A4, SampleRate};
use crate::views::live::{Ask, LiveState, Look, News, PlainLines, draw};
use crate::views::terminal::Screen;
use std::io::{self, Write};
use std::time::{Duration, Instant};

/// A page that shows nothing new is drawn this often all the same: the window may have changed its size.
const IDLE: Duration = Duration::from_millis(200);

/// From events of the session to news for the eye.
struct Reporter {
    a4: A4,
    rate: Option<SampleRate>,
}

impl Reporter {
    fn news(&mut self, event: &Event) -> Option<News> {
        match event {
            Event::TakeBegan { rate, .. } => {
                self.rate = Some(*rate);
                None
            }
            Event::Channel(chosen) => Some(News::Notice(format!(
                "listening to channel {} of {}, the louder one; --channel takes another",
                chosen.channel, chosen.of
            ))),
            Event::Stroke(at) => Some(News::Onset { at_s: at.seconds(self.rate?) }),
            Event::Graded(graded) => Some(News::Graded(Box::new(graded.0.clone()))),
            Event::Fault(kind) => Some(News::Notice(fault(*kind).into())),
            Event::Notice(sentence) => Some(News::Notice(sentence.clone())),
            Event::TakeEnded { .. } | Event::Over(_) => None,
        }
    }

    fn reading(&self, reading: &Reading) -> Option<News> {
        let at_s = reading.at.seconds(self.rate?);
        Some(News::Reading { at_s, cents: reading.hz().map(|hz| self.a4.cents(hz)) })
    }
}

fn fault(kind: FaultKind) -> &'static str {
    match kind {
        FaultKind::Lost => "sound was lost: attempts that it touches say so",
        FaultKind::Clipped => "the input is too loud: turn it down",
        FaultKind::NotANumber => "the input gave samples that are no numbers: they count as silence",
    }
}

/// Lines on standard output, for a pipe, a screen reader, or whoever wants no moving page.
pub struct Plain<W> {
    out: W,
    reporter: Reporter,
    lines: PlainLines,
}

impl<W: Write> Plain<W> {
    /// Says first what to play.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn begin(out: W, a4: A4, ask: &Ask) -> io::Result<Self> {
        let mut plain = Self { out, reporter: Reporter { a4, rate: None }, lines: PlainLines::default() };
        plain.say(&News::Ask(ask.clone()))?;
        Ok(plain)
    }

    fn say(&mut self, news: &News) -> io::Result<()> {
        for line in self.lines.lines(news) {
            writeln!(self.out, "{line}")?;
        }
        self.out.flush()
    }
}

impl<W: Write> View for Plain<W> {
    fn event(&mut self, event: &Event) -> io::Result<()> {
        if let Event::TakeBegan { file, origin, .. } = event {
            let name = origin.name.as_deref().unwrap_or(origin.kind);
            let kept = file.as_ref().map_or_else(|| "not kept".to_owned(), |file| format!("kept in {}", file.display()));
            writeln!(self.out, "Listening to {name}; the take is {kept}.")?;
            self.out.flush()?;
        }
        match self.reporter.news(event) {
            Some(news) => self.say(&news),
            None => Ok(()),
        }
    }

    fn reading(&mut self, _: &Reading) {}

    fn draw(&mut self) -> io::Result<()> {
        Ok(())
    }
}

/// A page on the terminal.
pub struct Paged {
    screen: Screen,
    state: LiveState,
    look: Look,
    reporter: Reporter,
    fresh: bool,
    drawn: Option<Instant>,
}

impl Paged {
    /// Takes the terminal and says what to play.
    ///
    /// # Errors
    /// When standard output is no terminal, or cannot be set up.
    pub fn begin(a4: A4, ask: Ask, look: Look) -> io::Result<Self> {
        let mut state = LiveState::default();
        state.apply(News::Ask(ask));
        Ok(Self { screen: Screen::take()?, state, look, reporter: Reporter { a4, rate: None }, fresh: true, drawn: None })
    }
}

impl View for Paged {
    fn event(&mut self, event: &Event) -> io::Result<()> {
        if let Some(news) = self.reporter.news(event) {
            self.state.apply(news);
            self.fresh = true;
        }
        Ok(())
    }

    fn reading(&mut self, reading: &Reading) {
        if let Some(news) = self.reporter.reading(reading) {
            // Silence moves nothing on the page.
            self.fresh |= reading.hz().is_some() || self.state.page.as_ref().is_some_and(|page| page.cents.is_some());
            self.state.apply(news);
        }
    }

    fn draw(&mut self) -> io::Result<()> {
        if !self.fresh && self.drawn.is_some_and(|drawn| drawn.elapsed() < IDLE) {
            return Ok(());
        }
        self.fresh = false;
        self.drawn = Some(Instant::now());
        let (state, look) = (&self.state, self.look);
        self.screen.draw(|area, buffer| draw(state, look, area, buffer))
    }

    fn lend(&mut self) {
        self.screen.lend();
    }

    fn take_again(&mut self) -> io::Result<()> {
        self.fresh = true;
        self.screen.take_again()
    }
}
