//! Which channel the guitar is on. Never a mean: two unrelated channels, or one inverted, would make a pitch that nobody played.
//!
//! The choice is made once, from the first notes, and before their first sample is handed on, so that a take is one channel from end to end
//! and a live run and a file get the same. Loudness is the energy of 10 ms stretches that are above -60 dBFS in any channel. A channel
//! that is 12 dB louder than every other after 50 ms of sound is taken at once; otherwise half a second of sound decides; equal channels
//! (the same signal on both) need no waiting. While nothing sounds, frames are handed on after a second: there is nothing in them.

use crate::units::SampleRate;

/// -60 dBFS as mean square.
const SOUND: f64 = 1e-6;
/// 12 dB as a ratio of energies.
const CLEARLY: f64 = 16.0;
/// Channels that differ by less than -40 dB are one signal on several.
const ALIKE: f64 = 1e-4;

/// What the player asked for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum ChannelWish {
    /// The louder one over the first notes.
    #[default]
    Louder,
    /// This one, counted from 1.
    Fixed(u16),
}

/// Channels numbered from 0.
#[derive(Debug)]
pub(super) struct Listening {
    channels: usize,
    stretch: usize,
    /// Energy of the sounding stretches, by channel, and of the difference from the first channel.
    energy: Vec<f64>,
    apart: f64,
    /// The same of the running stretch.
    running: Vec<f64>,
    running_apart: f64,
    frames: usize,
    sounding: usize,
}

impl Listening {
    pub(super) fn new(rate: SampleRate, channels: usize) -> Self {
        Self {
            channels,
            stretch: (rate.hz() as usize / 100).max(1),
            energy: vec![0.0; channels],
            apart: 0.0,
            running: vec![0.0; channels],
            running_apart: 0.0,
            frames: 0,
            sounding: 0,
        }
    }

    /// Takes one frame; `Some` as soon as the channel is certain.
    pub(super) fn hear(&mut self, frame: &[f32]) -> Option<usize> {
        for (energy, sample) in self.running.iter_mut().zip(frame) {
            *energy += square(*sample);
        }
        self.running_apart += frame.iter().map(|sample| square(sample - frame[0])).sum::<f64>();
        self.frames += 1;
        if self.frames < self.stretch {
            return None;
        }
        let sounds = self.running.iter().any(|energy| *energy > SOUND * self.frames as f64);
        if sounds {
            self.sounding += 1;
            for (energy, running) in self.energy.iter_mut().zip(&self.running) {
                *energy += running;
            }
            self.apart += self.running_apart;
        }
        self.running.fill(0.0);
        self.running_apart = 0.0;
        self.frames = 0;
        if sounds { self.certain() } else { None }
    }

    /// Whether any sound was heard yet.
    pub(super) fn heard_sound(&self) -> bool {
        self.sounding > 0
    }

    /// The louder channel so far; the first of equals.
    pub(super) fn louder(&self) -> usize {
        let mut best = 0;
        for channel in 1..self.channels {
            if self.energy[channel] > self.energy[best] {
                best = channel;
            }
        }
        best
    }

    fn certain(&self) -> Option<usize> {
        let best = self.louder();
        let first = self.energy[best];
        let next = self.energy.iter().enumerate().filter(|(channel, _)| *channel != best).map(|(_, energy)| *energy).fold(0.0, f64::max);
        let clear = self.sounding >= 5 && (first > CLEARLY * next || self.apart < ALIKE * first);
        (clear || self.sounding >= 50).then_some(best)
    }
}

fn square(sample: f32) -> f64 {
    let sample = f64::from(sample);
    // A broken sample must not decide.
    if sample.abs() <= 1000.0 { sample * sample } else { 0.0 }
}
