//! The speaker: a thread that mixes what is to sound a moment ahead of the card, and says in which frames of the take it sounds.
//!
//! The main thread gives orders and never waits. Time is the song's: frames since the speaker began. When the card was away, the song has gone on
//! without it, so that the next beat is where it would have been. Nothing here is on the way of the input.

mod desk;

use self::desk::{Desk, Through, Way};
use super::clocks::Clocks;
use super::own_sound::{BeatOf, OwnSound};
use crate::sound::SoundError;
use crate::sound::card::{Host, Opened, Outlet, OutputWish, TakeTime};
use crate::sound::out::{Event, Level, Part};
use crate::units::{FrameTime, SampleRate};
use crossbeam_channel::{Receiver, Sender, unbounded};
use hound::{SampleFormat, WavSpec, WavWriter};
use std::io::BufWriter;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// From the start of the sound to the first thing that counts in it: the clocks are known by then, s.
pub const LEAD_S: f64 = 1.0;
/// The most that the ring holds, s.
const RING_S: f64 = 2.0;
const LOOK_EVERY: Duration = Duration::from_millis(4);
/// How long the last fade takes to leave the card.
const LAST: Duration = Duration::from_millis(150);

/// Whether attempts may open while something sounds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ear {
    /// They may: a click, a backing.
    Open,
    /// They may not: a reference tone is no playing.
    Closed,
}

/// What is asked of a speaker decides how far ahead of the card it mixes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ahead {
    /// Everything is known beforehand: it is mixed a second ahead, and a thread that comes late is not heard. What is ordered later is as late.
    Planned,
    /// Answers to the player are to come at once: a tenth of a second.
    Answering,
}

impl Ahead {
    /// For a machine with every processor busy several times over: 60 ms were once 4 ms too few in 20 s, 100 ms lost 24 ms in 300 s, with other builds
    /// running besides (measured).
    fn seconds(self) -> f64 {
        match self {
            Self::Planned => 1.0,
            Self::Answering => 0.1,
        }
    }
}

/// A part to begin.
pub struct Begin {
    /// What plays; its frame 0 is when it begins.
    pub part: Box<dyn Part>,
    /// The frame of each beat in the part, by its number, where beats are to be known in the take.
    pub beats: Option<BeatOf>,
    /// Seconds from now; about one lets the clocks be known by the first beat.
    pub in_s: f64,
    /// Whether attempts may open meanwhile.
    pub ear: Ear,
}

/// What the speaker has counted.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Frames of the song that were played or passed over.
    pub played: u64,
    /// Frames that the card asked for and the ring did not have: heard as silence.
    pub missing: u64,
    /// Underruns that the system told of.
    pub underruns: u64,
}

enum Order {
    Begin(Begin),
    Say(Event, f64, Ear),
    Level(Level),
    Audible(bool),
    Clear,
    End,
}

#[derive(Default)]
struct Shared {
    played: AtomicU64,
    missing: AtomicU64,
    underruns: AtomicU64,
    heard: AtomicU64,
    longest_wait_ns: AtomicU64,
}

/// The main thread's end. Dropping it fades out and ends the sound without waiting; [`Speaker::finish`] waits for the fade.
pub struct Speaker {
    orders: Sender<Order>,
    notices: Receiver<String>,
    shared: Arc<Shared>,
    rate: SampleRate,
    opened: Option<Opened>,
    thread: Option<JoinHandle<()>>,
}

/// Why there is no speaker.
#[derive(Debug, thiserror::Error)]
pub enum SpeakerError {
    /// No card.
    #[error(transparent)]
    Sound(#[from] SoundError),
    /// No file.
    #[error("cannot write {0}: {1}; choose another file with --out")]
    File(String, String),
}

impl Speaker {
    /// Opens the output beside a card that is heard: `take` is that card's time, `own` what its ears ask. `round_trip_s` is asked for
    /// what was calibrated with the output as it was opened.
    ///
    /// # Errors
    /// When the output cannot be opened.
    pub fn open(
        host: Arc<dyn Host>,
        wish: OutputWish,
        take: TakeTime,
        own: Arc<OwnSound>,
        ahead: Ahead,
        round_trip_s: impl FnOnce(&Opened) -> Option<f64>,
    ) -> Result<Self, SpeakerError> {
        let outlet = Outlet::open(host, wish, RING_S)?;
        let opened = outlet.opened().clone();
        let rate = opened.format.rate;
        let round_trip_s = round_trip_s(&opened);
        own.set_calibrated(round_trip_s.is_some());
        let clocks = Clocks::new(take, round_trip_s.unwrap_or(0.0));
        Ok(Self::start(rate, Some(opened), own, Way::Card(Box::new(Through::new(outlet, clocks, ahead)))))
    }

    /// Beside a recorded take or the synthesiser: the song's frames are the take's, nothing is heard, and a file may keep what would have been.
    ///
    /// # Errors
    /// When the file cannot be begun; one that is there is not written over.
    pub fn beside_take(rate: SampleRate, own: Arc<OwnSound>, out: Option<&Path>) -> Result<Self, SpeakerError> {
        own.set_calibrated(true);
        let file = out
            .map(|path| {
                let wrong = |reason: String| SpeakerError::File(path.display().to_string(), reason);
                let file = std::fs::OpenOptions::new().write(true).create_new(true).open(path).map_err(|error| wrong(error.to_string()))?;
                let spec = WavSpec { channels: 1, sample_rate: rate.hz(), bits_per_sample: 32, sample_format: SampleFormat::Float };
                WavWriter::new(BufWriter::new(file), spec).map_err(|error| wrong(error.to_string()))
            })
            .transpose()?;
        Ok(Self::start(rate, None, own, Way::Take(file)))
    }

    fn start(rate: SampleRate, opened: Option<Opened>, own: Arc<OwnSound>, way: Way) -> Self {
        let (orders, received) = unbounded();
        let (notice, notices) = unbounded();
        let shared = Arc::new(Shared::default());
        let desk = Desk::new(rate, own, way, Arc::clone(&shared), notice);
        let thread = std::thread::spawn(move || desk.run(&received));
        Self { orders, notices, shared, rate, opened, thread: Some(thread) }
    }

    /// Frames a second of the song.
    #[must_use]
    pub fn rate(&self) -> SampleRate {
        self.rate
    }

    /// What plays; `None` beside a recorded take.
    #[must_use]
    pub fn opened(&self) -> Option<&Opened> {
        self.opened.as_ref()
    }

    /// Begins a part.
    pub fn begin(&self, begin: Begin) {
        self.order(Order::Begin(begin));
    }

    /// Sounds `event` in `in_s` seconds, or as soon as it can be heard (100 to 120 ms where it answers, see [`Ahead`]); its own `at` is not looked at.
    pub fn say(&self, event: Event, in_s: f64, ear: Ear) {
        self.order(Order::Say(event, in_s, ear));
    }

    /// Another loudness.
    pub fn set_level(&self, level: Level) {
        self.order(Order::Level(level));
    }

    /// Fades in or out; the song goes on either way.
    pub fn set_audible(&self, audible: bool) {
        self.order(Order::Audible(audible));
    }

    /// Takes away all parts and what waits.
    pub fn clear(&self) {
        self.order(Order::Clear);
    }

    fn order(&self, order: Order) {
        // The thread ends with this handle.
        let _ = self.orders.send(order);
    }

    /// The frame of the song that is heard about now.
    #[must_use]
    pub fn heard(&self) -> FrameTime {
        FrameTime(self.shared.heard.load(Ordering::Relaxed))
    }

    /// What was counted so far.
    #[must_use]
    pub fn counts(&self) -> Counts {
        Counts {
            played: self.shared.played.load(Ordering::Relaxed),
            missing: self.shared.missing.load(Ordering::Relaxed),
            underruns: self.shared.underruns.load(Ordering::Relaxed),
        }
    }

    /// The longest time between two callbacks of the card since this was last asked.
    #[must_use]
    pub fn take_longest_wait(&self) -> Duration {
        Duration::from_nanos(self.shared.longest_wait_ns.swap(0, Ordering::Relaxed))
    }

    /// A sentence that the player should know; never waits.
    #[must_use]
    pub fn notice(&self) -> Option<String> {
        self.notices.try_recv().ok()
    }

    /// Fades out and waits until that was heard, a fifth of a second at most; beside a take, until its file is whole.
    pub fn finish(mut self) {
        self.end();
    }

    /// The same for an owner that goes with it.
    pub(crate) fn end(&mut self) {
        self.order(Order::End);
        let Some(thread) = self.thread.take() else { return };
        let begun = Instant::now();
        // A disk may be slow; a card that hangs is not waited for.
        let longest = if self.opened.is_some() { LAST * 2 } else { Duration::from_mins(1) };
        while !thread.is_finished() && begun.elapsed() < longest {
            std::thread::sleep(LOOK_EVERY);
        }
    }
}
