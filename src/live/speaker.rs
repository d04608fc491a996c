//! The speaker: a thread that mixes what is to sound a moment ahead of the card, and says in which frames of the take it sounds.
//!
//! The main thread gives orders and never waits. Time is the song's: frames since the speaker began. When the card was away, the song has gone on
//! without it, so that the next beat is where it would have been. Nothing here is on the way of the input.

use super::clocks::Clocks;
use super::own_sound::{BeatOf, OwnSound};
use crate::sound::SoundError;
use crate::sound::card::{Host, Opened, Outlet, OutputWish, PlayPulse, Playing, TakeTime};
use crate::sound::out::{Event, Level, Mixer, Part};
use crate::units::{FrameSpan, FrameTime, SampleRate};
use crossbeam_channel::{Receiver, RecvTimeoutError, Sender, unbounded};
use hound::{SampleFormat, WavSpec, WavWriter};
use ringbuf::traits::{Observer, Producer};
use std::fs::File;
use std::io::BufWriter;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// The ring is filled so far ahead of what the card takes, s, and one of its callbacks more. With 0.06, a machine with every processor busy several
/// times over once came 4 ms too late in 20 s (measured).
const AHEAD_S: f64 = 0.1;
/// The most that the ring holds, s.
const RING_S: f64 = 0.5;
const LOOK_EVERY: Duration = Duration::from_millis(4);
/// Beats are said so long before they sound, s: before anything that is played on them can be judged.
const BEATS_AHEAD_S: f64 = 1.5;
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
        round_trip_s: impl FnOnce(&Opened) -> Option<f64>,
    ) -> Result<Self, SpeakerError> {
        let outlet = Outlet::open(host, wish, RING_S)?;
        let opened = outlet.opened().clone();
        let rate = opened.format.rate;
        let round_trip_s = round_trip_s(&opened);
        own.set_calibrated(round_trip_s.is_some());
        let clocks = Clocks::new(take, round_trip_s.unwrap_or(0.0));
        Ok(Self::start(rate, Some(opened), own, Way::Card(Box::new(Through { outlet, clocks, stream: None, lost: (0, 0) }))))
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
        let (tell, told) = unbounded();
        let desk = Desk {
            mixer: Mixer::new(rate),
            rate,
            own,
            way,
            shared: Arc::clone(&shared),
            notice,
            song: None,
            unmapped: Vec::new(),
            tell,
            told,
            block: vec![0.0; 512],
            at_once: 0,
        };
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

    /// Sounds `event` in `in_s` seconds, or as soon as it can be heard (100 to 120 ms); its own `at` is not looked at.
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

    /// A sentence that the player should know; never waits.
    #[must_use]
    pub fn notice(&self) -> Option<String> {
        self.notices.try_recv().ok()
    }

    /// Fades out and waits until that was heard, a fifth of a second at most; beside a take, until its file is whole.
    pub fn finish(mut self) {
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

/// Where the song goes.
enum Way {
    Card(Box<Through>),
    Take(Option<WavWriter<BufWriter<File>>>),
}

/// Through a card.
struct Through {
    outlet: Outlet,
    clocks: Clocks,
    stream: Option<OnAir>,
    /// Missing frames and underruns of streams before this one.
    lost: (u64, u64),
}

/// A stream, and which frame of the song its frame 0 is.
struct OnAir {
    playing: Playing,
    base: i64,
}

impl OnAir {
    fn pulse(&self) -> &Arc<PlayPulse> {
        &self.playing.pulse
    }

    /// The first frame of the song that the card has not taken yet.
    fn taken(&self) -> u64 {
        (self.pulse().played() as i64 + self.base).max(0) as u64
    }
}

/// Beats of the song.
struct Song {
    beats: BeatOf,
    from: FrameTime,
    next: u64,
    take: u64,
}

struct Desk {
    mixer: Mixer,
    rate: SampleRate,
    own: Arc<OwnSound>,
    way: Way,
    shared: Arc<Shared>,
    notice: Sender<String>,
    song: Option<Song>,
    /// Stretches of the song in which own tones sound, and whose place in the take is not known yet.
    unmapped: Vec<(FrameTime, FrameTime)>,
    tell: Sender<Event>,
    told: Receiver<Event>,
    block: Vec<f32>,
    /// Frames of the song that were mixed.
    at_once: u64,
}

/// Hands on a part's events, and tells of each.
struct Telling {
    part: Box<dyn Part>,
    from: FrameTime,
    tell: Sender<Event>,
}

impl Part for Telling {
    fn events(&mut self, until: FrameTime, emit: &mut dyn FnMut(Event)) {
        let Self { part, from, tell } = self;
        part.events(until, &mut |event| {
            let _ = tell.send(Event { at: event.at + FrameSpan(from.0), ..event });
            emit(event);
        });
    }

    fn is_over(&self) -> bool {
        self.part.is_over()
    }
}

impl Desk {
    fn run(mut self, orders: &Receiver<Order>) {
        loop {
            match orders.recv_timeout(LOOK_EVERY) {
                Ok(Order::End) | Err(RecvTimeoutError::Disconnected) => break,
                Ok(order) => {
                    self.obey(order);
                    // What was ordered together begins together.
                    while let Ok(order) = orders.try_recv() {
                        if matches!(order, Order::End) {
                            self.end();
                            return;
                        }
                        self.obey(order);
                    }
                }
                Err(RecvTimeoutError::Timeout) => {}
            }
            self.attach();
            self.fill();
            self.map();
        }
        self.end();
    }

    fn end(mut self) {
        self.mixer.set_audible(false);
        match &mut self.way {
            Way::Card(_) => {
                let begun = Instant::now();
                while begun.elapsed() < LAST {
                    self.fill();
                    std::thread::sleep(LOOK_EVERY);
                }
            }
            Way::Take(_) => {
                self.mixer.set_audible(true);
                self.fill();
                if let Way::Take(Some(file)) = self.way
                    && let Err(error) = file.finalize()
                {
                    let _ = self.notice.send(format!("what was to be heard is not kept whole: {error}; make room"));
                }
            }
        }
    }

    fn obey(&mut self, order: Order) {
        match order {
            Order::Begin(begin) => self.begin(begin),
            Order::Say(event, in_s, ear) => {
                let event = Event { at: self.instant(in_s), ..event };
                self.mixer.say(event);
                if ear == Ear::Closed {
                    self.unmapped.push((event.at, event.at + event.heard(self.rate)));
                }
            }
            Order::Level(level) => self.mixer.set_level(level),
            Order::Audible(audible) => self.mixer.set_audible(audible),
            Order::Clear => self.mixer.clear(),
            Order::End => {}
        }
    }

    fn begin(&mut self, begin: Begin) {
        let from = self.instant(begin.in_s);
        let part = match begin.ear {
            Ear::Open => begin.part,
            Ear::Closed => Box::new(Telling { part: begin.part, from, tell: self.tell.clone() }),
        };
        self.mixer.tidy();
        self.mixer.add(part, from);
        let Some(mut beats) = begin.beats else { return };
        match self.way {
            Way::Card(_) => self.song = Some(Song { beats, from, next: 0, take: 0 }),
            Way::Take(_) => self.own.set_beats(Box::new(move |n| beats(n).map(|at| at + FrameSpan(from.0)))),
        }
    }

    /// The frame of the song that is heard in so many seconds, or the first one that can be.
    fn instant(&self, in_s: f64) -> FrameTime {
        let now = match &self.way {
            Way::Card(_) => FrameTime(self.shared.heard.load(Ordering::Relaxed)),
            Way::Take(_) => self.own.take().map_or(FrameTime(0), |(_, _, heard)| heard),
        };
        (now + self.rate.span(in_s)).max(self.mixer.earliest())
    }

    /// Takes a stream that was opened: the first one, or one after an outage, in which the song has gone on.
    fn attach(&mut self) {
        let Way::Card(through) = &mut self.way else { return };
        while let Some(notice) = through.outlet.notice() {
            let _ = self.notice.send(notice.to_string());
        }
        let Some(playing) = through.outlet.stream() else { return };
        if playing.opened.format.rate != self.rate {
            let _ = self.notice.send("the output came back with another sample rate: the sound stays off; begin again to hear it".into());
            return;
        }
        let ahead = lead(&playing.opened, self.rate);
        let frame = playing.pulse.played() + ahead;
        let base = match through.stream.take() {
            None => -(frame as i64),
            Some(before) => {
                through.lost.0 += before.pulse().missing();
                through.lost.1 += before.pulse().underruns();
                // The old stream's line says where the song would be when this frame is heard.
                let at = heard_at(&playing.pulse, frame, self.rate);
                let song = at.and_then(|at| through.clocks.output_frame(at)).map_or(0, |frame| frame as i64 + before.base);
                song.max(self.mixer.position().0 as i64) - frame as i64
            }
        };
        let song = (base + frame as i64).max(0) as u64;
        self.mixer.skip(song - self.mixer.position().0.min(song));
        playing.pulse.start_at(frame);
        through.clocks.follow_output(Arc::clone(&playing.pulse), self.rate);
        through.stream = Some(OnAir { playing, base });
    }

    /// Mixes up to a moment ahead of what is heard.
    fn fill(&mut self) {
        match &mut self.way {
            Way::Card(through) => {
                through.clocks.look();
                let Some(stream) = &mut through.stream else { return };
                let taken = stream.taken();
                let target = taken + lead(&stream.playing.opened, self.rate);
                while self.mixer.position().0 < target && stream.playing.ring.vacant_len() >= self.block.len() {
                    self.mixer.render(&mut self.block);
                    stream.playing.ring.push_slice(&self.block);
                }
                let heard = through.clocks.heard_now().map_or(taken, |frame| (frame as i64 + stream.base).max(0) as u64);
                self.shared.heard.store(heard, Ordering::Relaxed);
                self.shared.played.store(taken, Ordering::Relaxed);
                self.shared.missing.store(through.lost.0 + stream.pulse().missing(), Ordering::Relaxed);
                self.shared.underruns.store(through.lost.1 + stream.pulse().underruns(), Ordering::Relaxed);
            }
            Way::Take(file) => {
                let Some((_, _, heard)) = self.own.take() else { return };
                while self.at_once < heard.0 {
                    let now = (heard.0 - self.at_once).min(self.block.len() as u64) as usize;
                    self.mixer.render(&mut self.block[..now]);
                    self.at_once += now as u64;
                    let kept = match file {
                        Some(file) => self.block[..now].iter().try_for_each(|sample| file.write_sample(*sample)),
                        None => Ok(()),
                    };
                    if let Err(error) = kept {
                        let _ = self.notice.send(format!("what was to be heard is not kept any further: {error}; make room"));
                        *file = None;
                    }
                }
                self.shared.heard.store(heard.0, Ordering::Relaxed);
                self.shared.played.store(heard.0, Ordering::Relaxed);
            }
        }
    }

    /// Says where in the take own tones and beats are.
    fn map(&mut self) {
        while let Ok(event) = self.told.try_recv() {
            self.unmapped.push((event.at, event.at + event.heard(self.rate)));
        }
        let Self { way, own, unmapped, song, shared, rate, .. } = self;
        let Some((take, ..)) = own.take() else { return };
        let Way::Card(through) = way else {
            for (from, to) in unmapped.drain(..) {
                own.close(from.0 as i64, to.0 as i64);
            }
            return;
        };
        let Some(stream) = &through.stream else { return };
        let place = |at: FrameTime| {
            let (of, frame) = through.clocks.take_frame((at.0 as i64 - stream.base) as f64)?;
            (of == take).then_some(frame.round() as i64)
        };
        unmapped.retain(|(from, to)| match (place(*from), place(*to)) {
            (Some(from), Some(to)) => {
                own.close(from, to);
                false
            }
            _ => true,
        });
        let Some(song) = song else { return };
        if song.take != take {
            (song.take, song.next) = (take, 0);
        }
        let until = FrameTime(shared.heard.load(Ordering::Relaxed)) + rate.span(BEATS_AHEAD_S);
        while let Some(at) = (song.beats)(song.next).map(|at| at + FrameSpan(song.from.0)).filter(|at| *at < until) {
            let Some(frame) = place(at) else { break };
            own.beat(frame);
            song.next += 1;
        }
    }
}

/// How far ahead of the card the ring is filled, frames.
fn lead(opened: &Opened, rate: SampleRate) -> u64 {
    rate.span(AHEAD_S).0 + u64::from(opened.buffer.unwrap_or(512).min(rate.hz() / 5))
}

/// When a frame of a young stream is heard, by its newest stamp.
fn heard_at(pulse: &PlayPulse, frame: u64, rate: SampleRate) -> Option<Instant> {
    let mut newest = None;
    pulse.stamps().read(&mut 0, &mut |stamp| newest = Some(stamp));
    newest.map(|stamp| stamp.at + Duration::from_secs_f64(frame.saturating_sub(stamp.frame) as f64 / rate.as_f64()))
}
