//! What shows a live run: the page on a terminal, or plain lines.

pub mod collecting;

use super::events::Event;
use super::session::{View, Want};
use super::world::Key;
use crate::grading::Glimpse;
use crate::pitch::Reading;
use crate::sound::FaultKind;
use crate::units::{A4, FrameTime, SampleRate};
use crate::views::live::{Ask, LiveState, Look, News, PlainLines, draw};
use crate::views::terminal::Screen;
use std::io::{self, Write};

/// What to ask for, from the seconds of the take and the attempts graded so far; `None` where it stays what it is.
pub type Asks = Box<dyn FnMut(f64, u32) -> Option<Ask>>;

/// Goes through a drill with the player: says what to ask and to tell, and takes keys.
pub trait Prompter {
    /// Something happened; `seconds` of the take have been heard.
    fn event(&mut self, event: &Event, seconds: f64) -> Vec<News>;

    /// A reading, for whoever listens to what is played between attempts.
    fn reading(&mut self, at_s: f64, cents: Option<f64>);

    /// A key.
    fn key(&mut self, key: Key, seconds: f64);

    /// What is new by now.
    fn now(&mut self, seconds: f64) -> Vec<News>;

    /// What the player wants by now.
    fn wants(&mut self) -> Vec<Want>;
}

/// Puts the session's events into the view's words.
struct Translator {
    rate: Option<SampleRate>,
    a4: A4,
    asks: Asks,
    asked: Option<Ask>,
    graded: u32,
    seconds: f64,
    prompter: Option<Box<dyn Prompter>>,
}

impl Translator {
    fn new(a4: A4, asks: Asks) -> Self {
        Self { rate: None, a4, asks, asked: None, graded: 0, seconds: 0.0, prompter: None }
    }

    fn seconds(&self, at: FrameTime) -> f64 {
        self.rate.map_or(0.0, |rate| at.seconds(rate))
    }

    /// What is asked for now, where that is new.
    fn ask(&mut self) -> Option<News> {
        let ask = (self.asks)(self.seconds, self.graded).filter(|ask| self.asked.as_ref() != Some(ask))?;
        self.asked = Some(ask.clone());
        Some(News::Ask(ask))
    }

    /// Everything that is new by now.
    fn now(&mut self) -> Vec<News> {
        let seconds = self.seconds;
        let prompted = self.prompter.as_mut().map(|prompter| prompter.now(seconds)).unwrap_or_default();
        self.ask().into_iter().chain(prompted).collect()
    }

    fn event(&mut self, event: &Event) -> Vec<News> {
        let mut news = self.news(event);
        let seconds = self.seconds;
        if let Some(prompter) = &mut self.prompter {
            news.extend(prompter.event(event, seconds));
        }
        news
    }

    fn key(&mut self, key: Key) {
        if let Some(prompter) = &mut self.prompter {
            prompter.key(key, self.seconds);
        }
    }

    fn wants(&mut self) -> Vec<Want> {
        self.prompter.as_mut().map(|prompter| prompter.wants()).unwrap_or_default()
    }

    fn news(&mut self, event: &Event) -> Vec<News> {
        match event {
            Event::TakeBegan { rate, .. } => {
                self.rate = Some(*rate);
                self.seconds = 0.0;
                Vec::new()
            }
            Event::Seen(glimpse) => self.glimpse(glimpse),
            Event::Graded(graded) => {
                self.graded += 1;
                vec![News::Graded(Box::new(graded.0.clone()))]
            }
            Event::Channel(chosen) => vec![News::Notice(format!("Listening to channel {} of {}.", chosen.channel, chosen.of))],
            Event::Fault(kind) => vec![News::Notice(fault(*kind).to_owned())],
            Event::Notice(sentence) => vec![News::Notice(sentence.clone())],
            Event::Curve(_) | Event::TakeEnded { .. } | Event::Over(_) | Event::Told(_) => Vec::new(),
        }
    }

    fn glimpse(&mut self, glimpse: &Glimpse) -> Vec<News> {
        match *glimpse {
            Glimpse::Began(at) => {
                self.seconds = self.seconds.max(self.seconds(at));
                vec![News::Onset { at_s: self.seconds(at) }]
            }
            Glimpse::Arrived { onset, at, origin_cents, target_cents } => {
                let arrived = News::Arrived { onset_s: self.seconds(onset), at_s: self.seconds(at) };
                let aim = origin_cents.zip(target_cents);
                let aim = aim.map(|(origin_cents, target_cents)| News::Aim { origin_cents, target_cents });
                std::iter::once(arrived).chain(aim).collect()
            }
            Glimpse::HoldEnded(at) => vec![News::HoldEnded { at_s: self.seconds(at) }],
            Glimpse::Said(verdict) => vec![News::Verdict(verdict)],
        }
    }

    fn reading(&mut self, reading: &Reading) -> News {
        let at_s = self.seconds(reading.at);
        self.seconds = self.seconds.max(at_s);
        let cents = reading.hz().map(|hz| self.a4.cents(hz));
        if let Some(prompter) = &mut self.prompter {
            prompter.reading(at_s, cents);
        }
        News::Reading { at_s, cents }
    }
}

pub(super) fn fault(kind: FaultKind) -> &'static str {
    match kind {
        FaultKind::Clipped => "The input is louder than full scale: turn it down.",
        FaultKind::Lost => "Some sound was lost; what it touches says so.",
        FaultKind::NotANumber => "The input holds samples that are no numbers; they are taken as silence.",
    }
}

/// The page on a terminal.
pub struct PageView {
    screen: Screen,
    look: Look,
    state: LiveState,
    translator: Translator,
    drawn: Option<LiveState>,
    size: (u16, u16),
}

impl PageView {
    /// Takes the terminal.
    ///
    /// # Errors
    /// When standard output is none.
    pub fn new(look: Look, a4: A4, asks: Asks) -> io::Result<Self> {
        let screen = Screen::take()?;
        Ok(Self { screen, look, state: LiveState::default(), translator: Translator::new(a4, asks), drawn: None, size: (0, 0) })
    }
}

impl PageView {
    /// With somebody who goes through a drill.
    #[must_use]
    pub fn prompted(mut self, prompter: Box<dyn Prompter>) -> Self {
        self.translator.prompter = Some(prompter);
        self
    }
}

impl View for PageView {
    fn event(&mut self, event: &Event) -> io::Result<()> {
        for news in self.translator.event(event) {
            self.state.apply(news);
        }
        Ok(())
    }

    fn reading(&mut self, reading: &Reading) {
        let news = self.translator.reading(reading);
        self.state.apply(news);
    }

    fn key(&mut self, key: Key) {
        self.translator.key(key);
    }

    fn wants(&mut self) -> Vec<Want> {
        self.translator.wants()
    }

    fn draw(&mut self) -> io::Result<()> {
        for news in self.translator.now() {
            self.state.apply(news);
        }
        let size = self.screen.size()?;
        if self.drawn.as_ref() == Some(&self.state) && size == self.size {
            return Ok(());
        }
        self.size = size;
        let (state, look) = (&self.state, self.look);
        self.screen.draw(|area, buffer| draw(state, look, area, buffer))?;
        self.drawn = Some(self.state.clone());
        Ok(())
    }

    fn lend(&mut self) {
        self.screen.lend();
    }

    fn take_again(&mut self) -> io::Result<()> {
        self.drawn = None;
        self.screen.take_again()
    }
}

/// Plain lines on any output.
pub struct LinesView<W> {
    out: W,
    lines: PlainLines,
    translator: Translator,
    /// A reader of one line a note wants no words before the row: with input faster than playing speed they would come in a heap.
    rows_only: bool,
}

impl<W: Write> LinesView<W> {
    /// Lines to `out`. With `rows_only`, nothing is said of a note before its row.
    #[must_use]
    pub fn new(out: W, rows_only: bool, a4: A4, asks: Asks) -> Self {
        Self { out, lines: PlainLines::default(), translator: Translator::new(a4, asks), rows_only }
    }

    /// With somebody who goes through a drill.
    #[must_use]
    pub fn prompted(mut self, prompter: Box<dyn Prompter>) -> Self {
        self.translator.prompter = Some(prompter);
        self
    }

    fn say(&mut self, news: &News) -> io::Result<()> {
        let lines = self.lines.lines(news);
        if self.rows_only && matches!(news, News::Verdict(_) | News::Ask(_) | News::Lesson(_)) {
            return Ok(());
        }
        for line in lines {
            writeln!(self.out, "{line}")?;
        }
        Ok(())
    }
}

impl<W: Write> View for LinesView<W> {
    fn event(&mut self, event: &Event) -> io::Result<()> {
        if let Event::TakeBegan { file, origin, .. } = event {
            let name = origin.name.as_deref().unwrap_or(origin.kind);
            let kept = file.as_ref().map_or_else(|| "not kept".to_owned(), |file| format!("kept in {}", file.display()));
            writeln!(self.out, "Listening to {name}; the take is {kept}.")?;
            self.out.flush()?;
        }
        for news in self.translator.event(event) {
            self.say(&news)?;
        }
        Ok(())
    }

    fn reading(&mut self, reading: &Reading) {
        self.translator.reading(reading);
    }

    fn key(&mut self, key: Key) {
        self.translator.key(key);
    }

    fn wants(&mut self) -> Vec<Want> {
        self.translator.wants()
    }

    fn draw(&mut self) -> io::Result<()> {
        for news in self.translator.now() {
            self.say(&news)?;
        }
        self.out.flush()
    }
}
