//! From samples to pitch: one reading a hop, from one detector behind two trackers.
//!
//! The causal tracker is for the eye: each reading needs only what was heard up to its `ready`. The settled tracker is
//! for rows and for `trace`: it looks ahead by a documented constant and keeps a history of fixed size. Both count frames and know
//! neither clocks nor block sizes.
//!
//! A stiff string's partials are not exact multiples. The pitch said here is the mean of `f_k / k` over partials 1 to 12
//! weighted by power times `k`: between the fundamental (weights of power alone) and the waveform's period (power times k²).

pub mod attack;
pub mod candidates;
pub mod causal;
pub mod correlation;
pub mod decimate;
pub mod detector;
pub mod front;
pub mod heterodyne;
pub mod history;
pub mod hum;
pub mod memory;
pub mod partials;
pub mod path;
pub mod settled;
pub mod smooth;
pub mod standing;
pub mod sustained;

use crate::units::{FrameTime, SampleRate};

/// What one hop heard.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// The instant that the estimate describes: the centre of what was heard.
    pub at: FrameTime,
    /// The last sample that this reading needed (window, look-back and filters; no computing time).
    pub ready: FrameTime,
    /// RMS level around `at` in dB against full scale (a full-scale sine is -3.01); `None` for digital silence.
    pub level_dbfs: Option<f32>,
    /// What sounds.
    pub sounding: Sounding,
}

/// Silence, a sound without pitch, and a pitch are different things.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Sounding {
    /// Nothing above the noise floor.
    Silent,
    /// Something sounds, but no pitch can be told: noise, a pick stroke, several strings.
    Unpitched,
    /// A note.
    Pitched {
        /// Frequency in Hz.
        hz: f64,
        /// How periodic the sound is, 0 to 1 (McLeod & Wyvill 2005).
        clarity: f32,
    },
}

impl Reading {
    /// The frequency, where there is a pitch.
    #[must_use]
    pub fn hz(&self) -> Option<f64> {
        match self.sounding {
            Sounding::Pitched { hz, .. } => Some(hz),
            Sounding::Silent | Sounding::Unpitched => None,
        }
    }
}

/// Frames from one reading to the next: the largest power of two within 3 ms (128 at 44.1 and 48 kHz).
#[must_use]
pub fn hop_frames(rate: SampleRate) -> usize {
    let most = (u64::from(rate.hz()) * 3 / 1000).max(1);
    1 << most.ilog2()
}

/// A pitch tracker: samples in, one reading a hop out, in order and each once.
pub trait Tracker {
    /// Takes the next samples, which follow the previous ones without a gap, and hands out the readings that became ready.
    /// Does not allocate after the first call; results do not depend on how the samples are cut into calls.
    fn push(&mut self, samples: &[f32], emit: &mut dyn FnMut(Reading));

    /// `frames` frames were lost at this place: time goes on, nothing was heard.
    fn lose(&mut self, frames: u64, emit: &mut dyn FnMut(Reading));

    /// The take has ended: hands out what can still be said without later samples.
    fn finish(&mut self, emit: &mut dyn FnMut(Reading));
}
