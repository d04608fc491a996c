//! All parts and single events into one channel of samples.

use super::limiter::Limiter;
use super::voices::Sounding;
use super::{Event, Part};
use crate::units::{FrameSpan, FrameTime, SampleRate};

/// Voices that sound at once; beyond them the oldest gives way.
const VOICES: usize = 96;
/// Events that wait for their frame; beyond them they are dropped and counted.
const WAITING: usize = 512;
/// Parts that play at once without another allocation.
const PARTS: usize = 16;
/// Samples that are mixed at a time.
const CHUNK: usize = 256;

/// Every start, end and change of level takes so long, s.
pub const FADE_S: f64 = 0.02;

/// How loud everything is, in dB below what the voices are made for; 0 is the loudest.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Level(f64);

impl Default for Level {
    /// -20 dB: quiet on headphones that were left turned up. Common practice, no source.
    fn default() -> Self {
        Self(-20.0)
    }
}

impl Level {
    /// `None` outside -60 to 0 dB.
    #[must_use]
    pub fn db(db: f64) -> Option<Self> {
        (-60.0..=0.0).contains(&db).then_some(Self(db))
    }

    /// In dB.
    #[must_use]
    pub fn as_db(self) -> f64 {
        self.0
    }

    fn linear(self) -> f64 {
        10_f64.powf(self.0 / 20.0)
    }
}

struct Playing {
    part: Box<dyn Part>,
    /// Frame 0 of the part.
    from: FrameTime,
}

#[derive(Clone, Copy)]
struct Waiting {
    event: Event,
    /// Orders what begins in the same frame, however it was asked for: the part's place, then the order in the part.
    order: (u64, u64),
}

/// Parts in, samples out. [`Mixer::render`] allocates nothing.
pub struct Mixer {
    rate: SampleRate,
    parts: Vec<Playing>,
    waiting: Vec<Waiting>,
    voices: Vec<Option<Sounding>>,
    limiter: Limiter,
    /// The frame that is mixed next: ahead of the output by the limiter's delay.
    mixed: FrameTime,
    began: u64,
    said: u64,
    level: Level,
    audible: bool,
    gain: f64,
    /// How far the gain may move in a frame.
    step: f64,
    mix: Box<[f32]>,
    dropped: u64,
}

impl Mixer {
    /// A silent one at the default level.
    #[must_use]
    pub fn new(rate: SampleRate) -> Self {
        let mut mixer = Self {
            rate,
            parts: Vec::with_capacity(PARTS),
            waiting: Vec::with_capacity(WAITING),
            voices: vec![None; VOICES],
            limiter: Limiter::new(rate),
            mixed: FrameTime(0),
            began: 0,
            said: 0,
            level: Level::default(),
            audible: true,
            gain: 0.0,
            step: 1.0 / (FADE_S * rate.as_f64()),
            mix: vec![0.0; CHUNK].into(),
            dropped: 0,
        };
        mixer.step = mixer.level.linear() / (FADE_S * rate.as_f64());
        mixer
    }

    /// Frames a second.
    #[must_use]
    pub fn rate(&self) -> SampleRate {
        self.rate
    }

    /// The frame that [`Self::render`] gives next.
    #[must_use]
    pub fn position(&self) -> FrameTime {
        self.mixed - FrameSpan(self.lead())
    }

    fn lead(&self) -> u64 {
        self.mixed.0.min(self.limiter.delay() as u64)
    }

    /// The first frame at which a new event can still begin: a moment after [`Self::position`], where the limiter looks already.
    #[must_use]
    pub fn earliest(&self) -> FrameTime {
        self.mixed
    }

    /// A part joins: its frame 0 is `from`. What it had before [`Self::earliest`] begins there at once.
    pub fn add(&mut self, part: Box<dyn Part>, from: FrameTime) {
        self.parts.push(Playing { part, from });
    }

    /// One event; what should have begun begins at once.
    pub fn say(&mut self, event: Event) {
        self.said += 1;
        let order = (u64::MAX, self.said);
        wait(&mut self.waiting, &mut self.dropped, Waiting { event, order });
    }

    /// Drops all parts and all that waits; what sounds dies away.
    pub fn clear(&mut self) {
        self.parts.clear();
        self.waiting.clear();
    }

    /// Another loudness, over [`FADE_S`].
    pub fn set_level(&mut self, level: Level) {
        self.level = level;
        self.step = self.step.max(level.linear() / (FADE_S * self.rate.as_f64()));
    }

    /// Fades in, or out; time goes on either way.
    pub fn set_audible(&mut self, audible: bool) {
        self.audible = audible;
    }

    /// Whether nothing sounds, nothing waits, and no part has more.
    #[must_use]
    pub fn is_over(&self) -> bool {
        self.waiting.is_empty() && self.voices.iter().all(Option::is_none) && self.parts.iter().all(|playing| playing.part.is_over())
    }

    /// Events that found no place to wait.
    #[must_use]
    pub fn dropped(&self) -> u64 {
        self.dropped
    }

    /// Lets parts go that are over: not while rendering, since it frees memory.
    pub fn tidy(&mut self) {
        // Order stays: it decides what begins first within a frame.
        self.parts.retain(|playing| !playing.part.is_over());
    }

    /// Time goes on unheard: what would have begun in these frames is never heard, what sounded has ended, and the rest fades in.
    pub fn skip(&mut self, frames: u64) {
        self.mixed = self.mixed + FrameSpan(frames);
        self.collect(self.mixed);
        let now = self.mixed;
        self.waiting.retain(|waiting| waiting.event.at >= now);
        self.voices.fill(None);
        self.gain = 0.0;
    }

    /// The next samples.
    pub fn render(&mut self, out: &mut [f32]) {
        let mut filled = 0;
        // The limiter looks ahead: the first time, the first frames fill it.
        while self.mixed.0 < self.limiter.delay() as u64 {
            let most = (self.limiter.delay() as u64 - self.mixed.0).min(CHUNK as u64) as usize;
            self.mix_chunk(most);
            self.mix[..most].iter().for_each(|sample| {
                self.limiter.pass(*sample);
            });
        }
        while filled < out.len() {
            let now = (out.len() - filled).min(CHUNK);
            self.mix_chunk(now);
            for (out, mixed) in out[filled..filled + now].iter_mut().zip(&self.mix) {
                *out = self.limiter.pass(*mixed);
            }
            filled += now;
        }
    }

    /// Mixes the next `frames` (at most [`CHUNK`]) into `mix`.
    fn mix_chunk(&mut self, frames: usize) {
        let end = self.mixed + FrameSpan(frames as u64);
        self.collect(end);
        self.mix[..frames].fill(0.0);
        let start = self.mixed;
        let mut from = 0;
        while from < frames {
            while self.waiting.first().is_some_and(|waiting| waiting.event.at <= start + FrameSpan(from as u64)) {
                let event = self.waiting.remove(0).event;
                self.begin(&event);
            }
            let next = self.waiting.first().map_or(frames, |waiting| (waiting.event.at.since(start).0 as usize).min(frames));
            for place in &mut self.voices {
                if let Some(voice) = place
                    && !voice.add_to(&mut self.mix[from..next])
                {
                    *place = None;
                }
            }
            from = next;
        }
        for Playing { part, from } in &mut self.parts {
            // A part that begins within the chunk sounds from there.
            let before = from.since(start).0.min(frames as u64) as usize;
            if before < frames {
                let at = start + FrameSpan(before as u64);
                part.sound(FrameTime(at.0 - from.0), &mut self.mix[before..frames]);
            }
        }
        let wanted = if self.audible { self.level.linear() } else { 0.0 };
        for sample in &mut self.mix[..frames] {
            self.gain += (wanted - self.gain).clamp(-self.step, self.step);
            *sample *= self.gain as f32;
        }
        self.mixed = end;
    }

    /// Asks all parts for what begins before `until`.
    fn collect(&mut self, until: FrameTime) {
        let Self { parts, waiting, dropped, said, .. } = self;
        for (place, playing) in parts.iter_mut().enumerate() {
            let from = playing.from;
            if until > from {
                playing.part.events(FrameTime(until.0 - from.0), &mut |event| {
                    *said += 1;
                    let event = Event { at: event.at + FrameSpan(from.0), ..event };
                    wait(waiting, dropped, Waiting { event, order: (place as u64, *said) });
                });
            }
        }
    }

    fn begin(&mut self, event: &Event) {
        self.began += 1;
        let free = self.voices.iter().position(Option::is_none);
        let oldest = || self.voices.iter().enumerate().min_by_key(|(_, voice)| voice.map(|voice| voice.number)).map(|(place, _)| place);
        if let Some(place) = free.or_else(oldest) {
            self.voices[place] = Some(Sounding::new(event, self.rate, self.began));
        }
    }
}

/// Into the queue, in order.
fn wait(queue: &mut Vec<Waiting>, dropped: &mut u64, waiting: Waiting) {
    if queue.len() == WAITING {
        *dropped += 1;
        return;
    }
    let key = |waiting: &Waiting| (waiting.event.at, waiting.order);
    let place = queue.partition_point(|other| key(other) <= key(&waiting));
    queue.insert(place, waiting);
}
