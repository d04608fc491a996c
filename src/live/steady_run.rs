//! A run that wants the pitch of ringing strings and nothing else: the tuner's, the intonation check's.
//!
//! It goes the way of every run, through source, ring and analysis thread; only the ears are others. Every reading comes to the view, in order
//! and none dropped, so that what is said of a file does not depend on how fast it is heard.

use super::analysis::{Beats, Job};
use super::ears::{Ears, Settles};
use super::events::Event;
use super::session::{RING_S, View};
use super::world::Key;
use crate::grading::{Attempt, Provisional, Wish};
use crate::logbook::Row;
use crate::logbook::sidecar::Asked;
use crate::notes::steady::{SteadyReader, Sustain};
use crate::pitch::attack::AttackFinder;
use crate::pitch::sustained::Sustained;
use crate::pitch::{Reading, Tracker};
use crate::sound::{Block, ChannelWish, FaultKind};
use crate::units::{A4, SampleRate};
use crate::views::terminal::Screen;
use crossbeam_channel::{Receiver, Sender, unbounded};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use std::io::{self, Write};

/// From the analysis to the view.
enum Told {
    Take(SampleRate),
    Reading(Reading),
}

/// The readings of all takes of a run.
pub struct Readings(Receiver<Told>);

/// The tracker, which tells what it reads.
struct Telling {
    tracker: Sustained,
    tell: Sender<Told>,
}

impl Telling {
    fn tell(&mut self, emit: &mut dyn FnMut(Reading), track: impl FnOnce(&mut Sustained, &mut dyn FnMut(Reading))) {
        let tell = &self.tell;
        track(&mut self.tracker, &mut |reading| {
            // When nobody listens any more, the run is about to be stopped.
            let _ = tell.send(Told::Reading(reading));
            emit(reading);
        });
    }
}

impl Tracker for Telling {
    fn push(&mut self, samples: &[f32], emit: &mut dyn FnMut(Reading)) {
        self.tell(emit, |tracker, emit| tracker.push(samples, emit));
    }

    fn lose(&mut self, frames: u64, emit: &mut dyn FnMut(Reading)) {
        self.tell(emit, |tracker, emit| tracker.lose(frames, emit));
    }

    fn finish(&mut self, emit: &mut dyn FnMut(Reading)) {
        self.tell(emit, |tracker, emit| tracker.finish(emit));
    }
}

/// No bend is looked for.
struct NoAttempts;

impl Settles for NoAttempts {
    fn hear(&mut self, _: &Block<'_>, _: &mut dyn FnMut(Attempt)) {}
    fn finish(&mut self, _: &mut dyn FnMut(Attempt)) {}
}

/// What such a run is asked to do, and where its readings come out. No take and no row is kept.
#[must_use]
pub fn job(name: &str, channel: ChannelWish, a4: A4, seconds: Option<f64>) -> (Job, Readings) {
    let (tell, readings) = unbounded();
    let ears = move |rate| {
        let _ = tell.send(Told::Take(rate));
        Ears {
            causal: Box::new(Telling { tracker: Sustained::new(rate), tell: tell.clone() }),
            attacks: AttackFinder::new(rate),
            eye: Provisional::new(rate, a4, Box::new(Wish::default())),
            settled: Box::new(NoAttempts),
            own: None,
            masked: None,
        }
    };
    let job = Job {
        channel,
        drill: name.to_owned(),
        asked: Asked::default(),
        beats: Beats::default(),
        a4,
        tolerance: 0.0,
        attempts: None,
        last_step: None,
        seconds,
        save: None,
        ring_s: RING_S,
        largest: u64::MAX,
        keep_free: 0,
        patient: false,
        ears: Box::new(ears),
        row: Box::new(|_, _| Row::default()),
    };
    (job, Readings(readings))
}

/// What makes something of sustained pitches, and shows it.
pub trait Listens {
    /// The next average, or the end of a note; `at_s` is the instant, in seconds of the take, at which this was known.
    fn hear(&mut self, sustain: Sustain, at_s: f64);

    /// A sentence that the player has to know.
    fn notice(&mut self, sentence: String);

    /// A key was pressed.
    fn key(&mut self, key: Key) {
        let _ = key;
    }

    /// Lines for who reads no page; each is handed out once.
    fn lines(&mut self) -> Vec<String>;

    /// Draws the page.
    fn draw(&self, area: Rect, buffer: &mut Buffer);

    /// Whether all was heard that was wanted.
    fn has_enough(&self) -> bool {
        false
    }
}

enum Out {
    Page { screen: Screen, size: (u16, u16) },
    Lines(Box<dyn Write>),
}

/// Shows what a listener makes of a run: a page on the terminal, or lines.
pub struct SteadyView<L> {
    listener: L,
    readings: Readings,
    a4: A4,
    reader: Option<(SampleRate, SteadyReader)>,
    out: Out,
    changed: bool,
}

impl<L: Listens> SteadyView<L> {
    /// Takes the terminal.
    ///
    /// # Errors
    /// When standard output is none.
    pub fn page(listener: L, readings: Readings, a4: A4) -> io::Result<Self> {
        let out = Out::Page { screen: Screen::take()?, size: (0, 0) };
        Ok(Self { listener, readings, a4, reader: None, out, changed: true })
    }

    /// Lines to `out`.
    #[must_use]
    pub fn plain(listener: L, readings: Readings, a4: A4, out: Box<dyn Write>) -> Self {
        Self { listener, readings, a4, reader: None, out: Out::Lines(out), changed: true }
    }

    /// What has listened; the terminal is given back.
    #[must_use]
    pub fn into_listener(self) -> L {
        self.listener
    }

    fn listen(&mut self) {
        for told in self.readings.0.try_iter() {
            match told {
                Told::Take(rate) => self.reader = Some((rate, SteadyReader::new(rate, self.a4))),
                Told::Reading(reading) => {
                    if let Some((rate, reader)) = &mut self.reader
                        && let Some(sustain) = reader.hear(&reading)
                    {
                        self.listener.hear(sustain, reading.ready.seconds(*rate));
                        self.changed = true;
                    }
                }
            }
        }
    }

    fn notice(&mut self, sentence: &str) {
        self.listener.notice(sentence.to_owned());
        self.changed = true;
    }
}

impl<L: Listens> View for SteadyView<L> {
    fn event(&mut self, event: &Event) -> io::Result<()> {
        match event {
            // Lines are for scripts too: one a reading.
            Event::TakeBegan { origin, .. } if matches!(self.out, Out::Page { .. }) => {
                self.notice(&format!("Listening to {}.", origin.name.as_deref().unwrap_or(origin.kind)));
            }
            Event::Channel(chosen) => self.notice(&format!("Listening to channel {} of {}.", chosen.channel, chosen.of)),
            Event::Fault(FaultKind::Clipped) => self.notice("The input is louder than full scale: turn it down."),
            Event::Fault(FaultKind::Lost) => self.notice("Some sound was lost."),
            Event::Fault(FaultKind::NotANumber) => self.notice("The input holds samples that are no numbers; they are taken as silence."),
            Event::Notice(sentence) => self.notice(sentence),
            // The last readings are in the channel before this event is.
            Event::Over(_) => return self.draw(),
            Event::TakeBegan { .. } | Event::Seen(_) | Event::Curve(_) | Event::Graded(_) | Event::Told(_) | Event::TakeEnded { .. } => {}
        }
        Ok(())
    }

    fn reading(&mut self, _: &Reading) {}

    fn key(&mut self, key: Key) {
        self.listener.key(key);
        self.changed = true;
    }

    fn draw(&mut self) -> io::Result<()> {
        self.listen();
        match &mut self.out {
            Out::Lines(out) => {
                for line in self.listener.lines() {
                    writeln!(out, "{line}")?;
                }
                out.flush()?;
            }
            Out::Page { screen, size } => {
                let now = screen.size()?;
                if self.changed || now != *size {
                    *size = now;
                    let listener = &self.listener;
                    screen.draw(|area, buffer| listener.draw(area, buffer))?;
                }
            }
        }
        self.changed = false;
        Ok(())
    }

    fn has_enough(&self) -> bool {
        self.listener.has_enough()
    }

    fn lend(&mut self) {
        if let Out::Page { screen, .. } = &mut self.out {
            screen.lend();
        }
    }

    fn take_again(&mut self) -> io::Result<()> {
        self.changed = true;
        match &mut self.out {
            Out::Page { screen, .. } => screen.take_again(),
            Out::Lines(_) => Ok(()),
        }
    }
}
