//! Sound out: neutral events, made elsewhere, become sound here. Whoever makes them knows music; this folder knows frames, voices and gains.

use crate::units::{FrameSpan, FrameTime};

/// One thing to sound, at its frame of the output.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Event {
    /// The first frame, counted from the start of the output.
    pub at: FrameTime,
    /// How long it sounds before it is let go; struck voices die away by themselves and may end sooner.
    pub length: FrameSpan,
    /// With what.
    pub voice: Voice,
    /// Its pitch in hertz; without meaning for drums.
    pub hz: f64,
    /// Linear, 0 to 1, before the mixer's own level.
    pub gain: f32,
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
}

/// A player of the backing, a click, a drone: hands out what it has to sound, piece by piece, for as long as it likes.
pub trait Part: Send {
    /// Every event that begins before `until` and was not handed out yet, in order.
    fn events(&mut self, until: FrameTime, emit: &mut dyn FnMut(Event));

    /// Whether nothing more will come.
    fn is_over(&self) -> bool;
}
