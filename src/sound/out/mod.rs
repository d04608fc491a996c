//! Sound out: neutral events, made elsewhere, become sound here. Whoever makes them knows music; this folder knows frames, voices and gains.
//!
//! ```text
//! parts ─► events ─► voices ─► level and fades ─► limiter ─► samples (one channel)
//!   └────► samples of a recording ─┘
//! ```
//!
//! Conventions. Time counts frames of the output from its start. An event at frame n is heard from frame n on, to the sample, and the samples do not
//! depend on the sizes of the blocks that they are asked for in. Nothing here knows a card or a clock.

use crate::units::{FrameSpan, FrameTime, SampleRate};

mod envelope;
mod file;
mod finder;
mod gliding;
mod limiter;
mod listed;
mod mixer;
mod partials;
mod recorded;
mod rhythm;
mod voices;

pub use file::{RenderError, render};
pub use finder::{Place, find, sweep_samples};
pub use gliding::{Glide, Gliding};
pub use limiter::PEAK;
pub use listed::{Listed, beat_frame};
pub use mixer::{FADE_S, Level, Mixer};
pub use recorded::{Pass, Recorded, seam};

/// One thing to sound, at its frame of the output.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Event {
    /// The first frame, counted from the start of the output, or from where its part was begun.
    pub at: FrameTime,
    /// How long it sounds before it is let go; struck voices die away by themselves and may end sooner.
    pub length: FrameSpan,
    /// With what.
    pub voice: Voice,
    /// Its pitch in hertz; without meaning for clicks and drums.
    pub hz: f64,
    /// Linear, 0 to 1, before the mixer's own level.
    pub gain: f32,
}

impl Event {
    /// How long it can be heard at most, its dying away included: until it is 60 dB down.
    #[must_use]
    pub fn heard(&self, rate: SampleRate) -> FrameSpan {
        voices::heard(self, rate)
    }
}

/// What can sound.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Voice {
    /// A beat.
    Click,
    /// The first beat of a bar.
    Accent,
    /// A plucked string.
    Pluck,
    /// A tone that lasts as long as it should.
    Sustained,
    /// The backing's low notes.
    Bass,
    /// The backing's chords, one note each.
    Comp,
    /// The backing's low drum.
    Kick,
    /// The backing's backbeat.
    Snare,
    /// The backing's pulse.
    Hat,
    /// A short rising tone to measure delays by: its place can be found to a fraction of a sample.
    Sweep,
}

impl Voice {
    /// All of them.
    pub const ALL: [Self; 10] =
        [Self::Click, Self::Accent, Self::Pluck, Self::Sustained, Self::Bass, Self::Comp, Self::Kick, Self::Snare, Self::Hat, Self::Sweep];
}

/// A player of the backing, a click, a drone: hands out what it has to sound, piece by piece, for as long as it likes.
pub trait Part: Send {
    /// Every event that begins before `until` and was not handed out yet, in order.
    fn events(&mut self, until: FrameTime, emit: &mut dyn FnMut(Event));

    /// Adds samples of its own, from its frame `from` on, to what the voices make of events. Asked for every frame once, in order; a frame that nobody
    /// heard is passed over. Allocates nothing.
    fn sound(&mut self, from: FrameTime, out: &mut [f32]) {
        let _ = (from, out);
    }

    /// Whether nothing more will come.
    fn is_over(&self) -> bool;
}
