//! The speaker's thread: obeys, fills the card's ring a moment ahead, and places what sounds in the take.

use super::{Ahead, Begin, Ear, LAST, LOOK_EVERY, Order, Shared};
use crate::live::clocks::Clocks;
use crate::live::own_sound::{BeatOf, OwnSound};
use crate::sound::card::{Opened, Outlet, PlayPulse, Playing};
use crate::sound::out::{Event, Mixer, Part};
use crate::units::{FrameSpan, FrameTime, SampleRate};
use crossbeam_channel::{Receiver, RecvTimeoutError, Sender, unbounded};
use hound::WavWriter;
use ringbuf::traits::{Observer, Producer};
use std::fs::File;
use std::io::BufWriter;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

/// A stream begins at most so long after it was opened, s, and one of its callbacks more: the first mixing has to be there by then, also on a busy machine.
const BEGINS_S: f64 = 0.3;
/// Beats are said so long before they sound, s: before anything that is played on them can be judged.
const BEATS_AHEAD_S: f64 = 1.5;

/// Where the song goes.
pub(super) enum Way {
    Card(Box<Through>),
    Take(Option<WavWriter<BufWriter<File>>>),
}

/// Through a card.
pub(super) struct Through {
    outlet: Outlet,
    clocks: Clocks,
    ahead: Ahead,
    stream: Option<OnAir>,
    /// Missing frames and underruns of streams before this one.
    lost: (u64, u64),
}

/// A stream, and which frame of the song its frame 0 is.
pub(super) struct OnAir {
    playing: Playing,
    base: i64,
}

impl Through {
    /// Not playing yet.
    pub fn new(outlet: Outlet, clocks: Clocks, ahead: Ahead) -> Self {
        Self { outlet, clocks, ahead, stream: None, lost: (0, 0) }
    }
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
    /// Those that may still be placed better, by their number in the take, and their frame of the song.
    loose: Vec<(usize, FrameTime)>,
}

/// The thread's state.
pub(super) struct Desk {
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

    fn sound(&mut self, from: FrameTime, out: &mut [f32]) {
        self.part.sound(from, out);
    }

    fn is_over(&self) -> bool {
        self.part.is_over()
    }
}

impl Desk {
    /// At frame 0 of the song, with nothing to play.
    pub fn new(rate: SampleRate, own: Arc<OwnSound>, way: Way, shared: Arc<Shared>, notice: Sender<String>) -> Self {
        let (tell, told) = unbounded();
        Self {
            mixer: Mixer::new(rate),
            rate,
            own,
            way,
            shared,
            notice,
            song: None,
            unmapped: Vec::new(),
            tell,
            told,
            block: vec![0.0; 512],
            at_once: 0,
        }
    }

    /// Until it is told to end, or nobody can tell it any more.
    pub fn run(mut self, orders: &Receiver<Order>) {
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
        match &mut self.way {
            Way::Card(through) => {
                // What is mixed already is faded out where it leaves, not behind it.
                through.stream.iter().for_each(|stream| stream.pulse().hush());
                let begun = Instant::now();
                while begun.elapsed() < LAST {
                    self.fill();
                    std::thread::sleep(LOOK_EVERY);
                }
            }
            Way::Take(_) => {
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
            Way::Card(_) => self.song = Some(Song { beats, from, next: 0, take: 0, loose: Vec::new() }),
            Way::Take(_) => self.own.set_beats(Box::new(move |n| beats(n).map(|at| (at + FrameSpan(from.0)).0 as i64))),
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
        let begins_s = through.ahead.seconds().min(BEGINS_S);
        let mut frame = playing.pulse.played() + lead(begins_s, &playing.opened, self.rate);
        let base = match through.stream.take() {
            None => -(frame as i64),
            Some(before) => {
                through.lost.0 += before.pulse().missing();
                through.lost.1 += before.pulse().underruns();
                // The old stream's line says where the song would be when this frame is heard.
                let at = heard_at(&playing.pulse, frame, self.rate);
                let mixed = self.mixer.position().0 as i64;
                // A stream that broke before its line was known says nothing: the song goes on where the mixer stands.
                let song = at.and_then(|at| through.clocks.output_frame(at)).map_or(mixed, |frame| frame as i64 + before.base);
                // What was mixed ahead and never heard is gone: it is silent until the song is where the mixer stands.
                let most = lead(through.ahead.seconds(), &playing.opened, self.rate);
                frame += ((mixed - song).max(0) as u64).min(most);
                song.max(mixed) - frame as i64
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
                let target = taken + lead(through.ahead.seconds(), &stream.playing.opened, self.rate);
                while self.mixer.position().0 < target && stream.playing.ring.vacant_len() >= self.block.len() {
                    self.mixer.render(&mut self.block);
                    stream.playing.ring.push_slice(&self.block);
                }
                let heard = through.clocks.heard_now().map_or(taken, |frame| (frame as i64 + stream.base).max(0) as u64);
                self.shared.heard.store(heard, Ordering::Relaxed);
                self.shared.played.store(taken, Ordering::Relaxed);
                self.shared.missing.store(through.lost.0 + stream.pulse().missing(), Ordering::Relaxed);
                self.shared.underruns.store(through.lost.1 + stream.pulse().underruns(), Ordering::Relaxed);
                let wait = stream.pulse().take_longest_wait();
                self.shared.longest_wait_ns.fetch_max(wait.as_nanos() as u64, Ordering::Relaxed);
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
            song.loose.clear();
        }
        // The clocks are known better with every second: until somebody looks at a beat, it moves with them.
        song.loose.retain(|(number, at)| place(*at).is_none_or(|frame| own.move_beat(*number, frame)));
        let until = FrameTime(shared.heard.load(Ordering::Relaxed)) + rate.span(BEATS_AHEAD_S);
        while let Some(at) = (song.beats)(song.next).map(|at| at + FrameSpan(song.from.0)).filter(|at| *at < until) {
            let Some(frame) = place(at) else { break };
            song.loose.extend(own.beat(frame).map(|number| (number, at)));
            song.next += 1;
        }
    }
}

/// So many seconds ahead of the card, and one of its callbacks more, frames.
fn lead(seconds: f64, opened: &Opened, rate: SampleRate) -> u64 {
    rate.span(seconds).0 + u64::from(opened.buffer.unwrap_or(512).min(rate.hz() / 5))
}

/// When a frame of a young stream is heard, by its newest stamp.
fn heard_at(pulse: &PlayPulse, frame: u64, rate: SampleRate) -> Option<Instant> {
    let mut newest = None;
    pulse.stamps().read(&mut 0, &mut |stamp| newest = Some(stamp));
    newest.map(|stamp| stamp.at + Duration::from_secs_f64(frame.saturating_sub(stamp.frame) as f64 / rate.as_f64()))
}
