//! landfall's own synthesiser: a lead guitar whose pitch is known at every sample.
//!
//! It is a [`Source`] like any other, so that the demo, the tests and a bug report go through the same door as a guitar. A [`Scenario`] says
//! what the hands do; [`render`] gives all samples at once with the [`Truth`]. The same scenario and seed give the same samples on one
//! machine, however they are cut into blocks: every sample is a function of its frame, but for the phase of the strings and the amplifier,
//! which go forward frame by frame.
//!
//! The chain: strings, pick noise, hum and noise → amplifier (`drive`) → backing pad. Truth is the melody's string before the amplifier.

mod background;
mod check;
mod curve;
mod drive;
mod plan;
mod random;
mod scenario;
mod sine;
mod string;
mod truth;

use std::sync::Arc;

pub use plan::Cause;
pub use scenario::{Drive, Gap, Gesture, Hum, Noise, Note, Pad, Ringing, Scenario, Shape, Swing, Tone};
pub use string::{PITCH_PARTIALS, Partial};
pub use truth::{Event, Happening, TrueBend, Truth};

use super::{Format, Heard, SoundError, Source};
use crate::units::SampleRate;
use background::{BurstVoice, HumVoice, NoiseVoice, PadVoice};
use drive::Amplifier;
use plan::{BLOCK, Plan, Voice};

/// What can be wrong with a scenario.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum SynthError {
    /// The text is not a scenario.
    #[error("{0}")]
    Form(String),
    /// A number is out of its range.
    #[error("{place}: {field} is {value}, but has to be from {least} to {most}")]
    Range {
        /// Which part of the scenario.
        place: String,
        /// Its field.
        field: &'static str,
        /// What stands there.
        value: f64,
        /// The least allowed.
        least: f64,
        /// The most allowed.
        most: f64,
    },
}

/// A whole take and what is true about it.
#[derive(Clone, Debug)]
pub struct Rendered {
    /// Mono samples at the scenario's rate, without gaps.
    pub samples: Vec<f32>,
    /// What is true at every sample.
    pub truth: Truth,
}

/// Plays a whole scenario.
///
/// # Errors
/// A number of the scenario out of range.
pub fn render(scenario: &Scenario) -> Result<Rendered, SynthError> {
    let mut synth = Synth::new(scenario)?;
    let truth = synth.truth();
    let mut samples = vec![0.0; synth.plan.length as usize];
    synth.fill(&mut samples);
    Ok(Rendered { samples, truth })
}

/// A scenario being played.
#[derive(Debug)]
pub struct Synth {
    plan: Arc<Plan>,
    rate: SampleRate,
    strings: Vec<Playing>,
    /// Strings from here on have not begun yet.
    next_string: usize,
    hum: Option<HumVoice>,
    noise: Option<NoiseVoice>,
    pads: Vec<PadVoice>,
    burst: BurstVoice,
    next_burst: usize,
    amplifier: Option<Amplifier>,
    block: [f32; BLOCK],
    /// The first frame of the block after `block`.
    rendered: u64,
    /// The next frame that is given.
    at: u64,
    /// Gaps already reported.
    gaps_told: usize,
}

/// A string with its running phase.
#[derive(Debug)]
struct Playing {
    voice: Voice,
    /// Turns of `f_0` since the attack.
    turns: f64,
    amplitudes: Vec<f64>,
    pitch_over_f0: f64,
}

impl Synth {
    /// Lays the scenario out. From here on nothing is allocated.
    ///
    /// # Errors
    /// A number of the scenario out of range.
    pub fn new(scenario: &Scenario) -> Result<Self, SynthError> {
        scenario.check()?;
        let plan = Arc::new(Plan::new(scenario));
        let hz = f64::from(scenario.rate_hz);
        let mut strings: Vec<Playing> = plan.melody.iter().chain(&plan.ringing).cloned().map(Playing::new).collect();
        strings.sort_by_key(|string| string.voice.onset);
        let level = 10f64.powf(scenario.tone.level_dbfs / 20.0);
        Ok(Self {
            rate: SampleRate::new(scenario.rate_hz).ok_or_else(|| SynthError::Form("a rate of 0".to_owned()))?,
            strings,
            next_string: 0,
            hum: scenario.hum.as_ref().map(|hum| HumVoice::new(hum, hz)),
            noise: NoiseVoice::new(&plan),
            pads: scenario.pad.iter().map(|pad| PadVoice::new(pad, scenario.a4_hz, plan.power, hz)).collect(),
            burst: BurstVoice::new(&plan),
            next_burst: 0,
            amplifier: scenario.drive.map(|drive| Amplifier::new(drive, level)),
            block: [0.0; BLOCK],
            rendered: 0,
            at: 0,
            gaps_told: 0,
            plan,
        })
    }

    /// What is true about the take.
    #[must_use]
    pub fn truth(&self) -> Truth {
        Truth::new(Arc::clone(&self.plan))
    }

    /// Fills `out` with the next frames; says how many there were before the end.
    pub fn fill(&mut self, out: &mut [f32]) -> usize {
        let mut done = 0;
        while done < out.len() && self.at < self.plan.length {
            if self.at >= self.rendered {
                self.render_block();
            }
            let inside = BLOCK - (self.rendered - self.at) as usize;
            let left = (self.plan.length - self.at).min((BLOCK - inside) as u64) as usize;
            let count = left.min(out.len() - done);
            out[done..done + count].copy_from_slice(&self.block[inside..inside + count]);
            done += count;
            self.at += count as u64;
        }
        done
    }

    fn render_block(&mut self) {
        let first = self.rendered;
        let end = first + BLOCK as u64;
        let mut mix = [0.0_f64; BLOCK];
        while self.strings.get(self.next_string).is_some_and(|string| string.voice.onset < end) {
            self.next_string += 1;
        }
        for string in &mut self.strings[..self.next_string] {
            if string.voice.fade.1 > first {
                string.add_to(&mut mix, first);
            }
        }
        self.add_bursts(&mut mix, first);
        for (frame, sample) in (first..).zip(&mut mix) {
            *sample += self.hum.as_ref().map_or(0.0, |hum| hum.sample(frame));
            *sample += self.noise.as_ref().map_or(0.0, |noise| noise.sample(frame));
            if let Some(amplifier) = &mut self.amplifier {
                *sample = amplifier.next(*sample);
            }
            *sample += self.pads.iter().map(|pad| pad.sample(frame)).sum::<f64>();
        }
        for (given, sample) in self.block.iter_mut().zip(mix) {
            *given = sample.clamp(-1.0, 1.0) as f32;
        }
        self.rendered = end;
    }

    fn add_bursts(&mut self, mix: &mut [f64; BLOCK], first: u64) {
        let lasts = (BurstVoice::LASTS_S * self.rate.as_f64()) as u64 + 1;
        let bursts = &self.plan.bursts;
        while bursts.get(self.next_burst).is_some_and(|burst| burst.at + lasts < first) {
            self.next_burst += 1;
        }
        for burst in bursts[self.next_burst..].iter().take_while(|burst| burst.at < first + BLOCK as u64) {
            for (frame, sample) in (first..).zip(mix.iter_mut()).filter(|(frame, _)| *frame >= burst.at) {
                *sample += burst.gain * self.burst.sample(burst.at, frame);
            }
        }
    }
}

impl Playing {
    fn new(voice: Voice) -> Self {
        let hz = voice.asked_hz(voice.onset);
        let amplitudes = (0..voice.timbre.count()).map(|index| voice.timbre.amplitude(index, 0.0, hz)).collect();
        let pitch_over_f0 = voice.set_pitch_over_f0(voice.onset);
        Self { voice, turns: 0.0, amplitudes, pitch_over_f0 }
    }

    /// Adds the block that begins at `first`.
    fn add_to(&mut self, mix: &mut [f64; BLOCK], first: u64) {
        // Under -130 dBFS a partial is under the 24 bits of a take.
        const UNHEARD: f64 = 3e-7;
        let voice = &self.voice;
        let end = first + BLOCK as u64;
        let (age, hz) = (voice.age(end), voice.asked_hz(end));
        let set = voice.timbre.pitch_over_f0(age, hz);
        let step = 1.0 / BLOCK as f64;
        let mut turns = [0.0; BLOCK];
        let mut gains = [0.0; BLOCK];
        for index in 0..BLOCK {
            let frame = first + index as u64;
            if frame < voice.onset {
                continue;
            }
            turns[index] = self.turns;
            gains[index] = voice.gain(frame);
            let over = self.pitch_over_f0 + (set - self.pitch_over_f0) * step * index as f64;
            self.turns += voice.asked_hz(frame) / over / voice.rate();
        }
        self.pitch_over_f0 = set;
        for (number, amplitude) in self.amplitudes.iter_mut().enumerate() {
            let from = *amplitude;
            let to = voice.timbre.amplitude(number, age, hz);
            *amplitude = to;
            if from.abs().max(to.abs()) < UNHEARD {
                continue;
            }
            let ratio = voice.timbre.ratio(number);
            for index in 0..BLOCK {
                let now = from + (to - from) * step * index as f64;
                mix[index] += now * gains[index] * sine::sin_turns(ratio * turns[index]);
            }
        }
    }
}

impl Source for Synth {
    fn format(&self) -> Format {
        Format { rate: self.rate, channels: 1 }
    }

    fn next(&mut self, out: &mut [f32]) -> Result<Heard, SoundError> {
        let frames = |seconds: f64| self.rate.span(seconds).0;
        let mut most = out.len();
        if let Some(gap) = self.plan.scenario.gaps.get(self.gaps_told) {
            let (start, lasts) = (frames(gap.at_s), frames(gap.lasts_s));
            if self.at >= start {
                self.gaps_told += 1;
                return Ok(Heard::Lost(self.skip(lasts)));
            }
            most = most.min((start - self.at) as usize);
        }
        match self.fill(&mut out[..most]) {
            0 if most > 0 => Ok(Heard::Ended),
            count => Ok(Heard::Filled(count)),
        }
    }
}

impl Synth {
    /// Plays `frames` frames to nobody.
    fn skip(&mut self, frames: u64) -> u64 {
        let mut unheard = [0.0; BLOCK];
        let mut left = frames;
        while left > 0 {
            let count = self.fill(&mut unheard[..left.min(BLOCK as u64) as usize]);
            if count == 0 {
                break;
            }
            left -= count as u64;
        }
        frames - left
    }
}
