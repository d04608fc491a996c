//! Tones whose pitch moves, as a part: the sustained voice along curves, one after the other, exact in pitch at every sample.

use super::envelope::Envelope;
use super::partials::SUSTAINED;
use super::{Event, Part, Voice};
use crate::units::{FrameSpan, FrameTime, SampleRate};
use std::f64::consts::TAU;

const RISE_S: f64 = 0.03;
const RELEASE_S: f64 = 0.12;
/// A little below half the rate: nothing folds back.
const HIGHEST_TURNS: f64 = 0.47;

/// One tone: where its pitch is when.
#[derive(Clone, Debug)]
pub struct Glide {
    /// The frame of the part at which it begins.
    pub at: FrameTime,
    /// Frames from there and hertz, in order; between two, the pitch goes straight in cents. It ends with the last.
    pub pitch: Vec<(u64, f64)>,
}

impl Glide {
    /// How long it sounds before it is let go.
    fn length(&self) -> u64 {
        self.pitch.last().map_or(0, |last| last.0)
    }
}

/// A tone under way.
#[derive(Clone, Debug)]
struct Sounding {
    glide: Glide,
    envelope: Envelope,
    frame: u64,
    /// The point that was passed last.
    point: usize,
    /// Turns of the fundamental, 0 to 1.
    turned: f64,
    is_over: bool,
}

impl Sounding {
    fn next(&mut self, rate: SampleRate) -> f64 {
        let Some(gain) = self.envelope.next() else {
            self.is_over = true;
            return 0.0;
        };
        let turns = self.hz() / rate.as_f64();
        self.turned = (self.turned + turns).fract();
        self.frame += 1;
        let partials = SUSTAINED.iter().filter(|(multiple, ..)| multiple * turns < HIGHEST_TURNS);
        gain * partials.map(|(multiple, level, _)| level * (TAU * multiple * self.turned).sin()).sum::<f64>()
    }

    /// The pitch at the frame that is next.
    fn hz(&mut self) -> f64 {
        let pitch = &self.glide.pitch;
        while pitch.get(self.point + 1).is_some_and(|next| next.0 <= self.frame) {
            self.point += 1;
        }
        let Some((from, hz)) = pitch.get(self.point).copied() else { return 0.0 };
        match pitch.get(self.point + 1) {
            Some((to, next)) if self.frame > from => hz * (next / hz).powf((self.frame - from) as f64 / (to - from) as f64),
            _ => hz,
        }
    }
}

/// The part.
#[derive(Clone, Debug)]
pub struct Gliding {
    tones: Vec<Sounding>,
    gain: f64,
    rate: SampleRate,
    said: usize,
}

impl Gliding {
    /// Sounds `glides`, in order; `gain` is linear, 0 to 1, as an event's.
    #[must_use]
    pub fn new(glides: Vec<Glide>, gain: f32, rate: SampleRate) -> Self {
        let tones = glides.into_iter().map(|glide| Sounding {
            envelope: Envelope::new(rate.span(RISE_S).0, glide.length(), rate.span(RELEASE_S).0),
            glide,
            frame: 0,
            point: 0,
            turned: 0.0,
            is_over: false,
        });
        Self { tones: tones.collect(), gain: f64::from(gain.clamp(0.0, 1.0)), rate, said: 0 }
    }

    /// How long it can be heard, s.
    #[must_use]
    pub fn length_s(&self) -> f64 {
        let end = |tone: &Sounding| (tone.glide.at + FrameSpan(tone.glide.length())).seconds(self.rate) + RELEASE_S;
        self.tones.iter().map(end).fold(0.0, f64::max)
    }
}

impl Part for Gliding {
    /// A silent event for each tone: whoever has to know when landfall sounds hears of events alone.
    fn events(&mut self, until: FrameTime, emit: &mut dyn FnMut(Event)) {
        while let Some(tone) = self.tones.get(self.said).filter(|tone| tone.glide.at < until) {
            let length = FrameSpan(tone.glide.length());
            let hz = tone.glide.pitch.first().map_or(0.0, |first| first.1);
            emit(Event { at: tone.glide.at, length, voice: Voice::Sustained, hz, gain: 0.0 });
            self.said += 1;
        }
    }

    fn sound(&mut self, from: FrameTime, out: &mut [f32]) {
        let end = from.0 + out.len() as u64;
        for tone in self.tones.iter_mut().filter(|tone| !tone.is_over && tone.glide.at.0 < end) {
            // Passed over, it goes on unheard.
            while !tone.is_over && tone.glide.at.0 + tone.frame < from.0 {
                tone.next(self.rate);
            }
            let first = tone.glide.at.0.saturating_sub(from.0) as usize;
            for sample in out.iter_mut().skip(first) {
                if tone.is_over {
                    break;
                }
                *sample += (self.gain * tone.next(self.rate)) as f32;
            }
        }
    }

    fn is_over(&self) -> bool {
        self.said == self.tones.len() && self.tones.iter().all(|tone| tone.is_over)
    }
}
