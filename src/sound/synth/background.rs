//! What sounds beside the strings: hum, noise, somebody else's chords. Each is a function of the frame alone.

use std::f64::consts::TAU;

use super::plan::Plan;
use super::random::{branch, white};
use super::scenario::{Hum, Pad};
use super::sine::sin_turns;

/// Seconds in which the mains frequency strays to and fro.
const STRAY_S: f64 = 20.0;

/// Hum at one rate, ready to play.
#[derive(Clone, Debug)]
pub struct HumVoice {
    hum: Hum,
    amplitudes: Vec<f64>,
    rate: f64,
}

impl HumVoice {
    /// Harmonics fall with their number, the even ones half as strong (a transformer's hum is mostly odd; common practice, no source);
    /// those above the Nyquist frequency are left out.
    #[must_use]
    pub fn new(hum: &Hum, rate: f64) -> Self {
        let mut amplitudes: Vec<f64> = (1..=hum.harmonics)
            .filter(|&h| hum.mains_hz * 1.01 * (h as f64) < rate / 2.0)
            .map(|h| if h % 2 == 1 { 1.0 } else { 0.5 } / h as f64)
            .collect();
        let power: f64 = amplitudes.iter().map(|a| a * a / 2.0).sum();
        let gain = 10f64.powf(hum.level_dbfs / 20.0) / power.sqrt().max(f64::MIN_POSITIVE);
        for amplitude in &mut amplitudes {
            *amplitude *= gain;
        }
        Self { hum: hum.clone(), amplitudes, rate }
    }

    /// Its sample at a frame.
    #[must_use]
    pub fn sample(&self, frame: u64) -> f64 {
        let t = frame as f64 / self.rate;
        if t < self.hum.at_s {
            return 0.0;
        }
        // The integral of 1 + drift sin(2πt/20 s).
        let strayed = self.hum.drift * STRAY_S / TAU * (1.0 - (TAU * t / STRAY_S).cos());
        let turns = self.hum.mains_hz * (t + strayed);
        let fade = ((t - self.hum.at_s) / 0.01).min(1.0);
        // Each harmonic has a phase of its own, or all would peak together.
        let harmonic = |(h, a): (usize, &f64)| a * sin_turns(turns * (h + 1) as f64 + 0.37 * (h * h) as f64);
        fade * self.amplitudes.iter().enumerate().map(harmonic).sum::<f64>()
    }
}

/// One held chord, ready to play.
#[derive(Clone, Debug)]
pub struct PadVoice {
    pad: Pad,
    hz: Vec<f64>,
    gain: f64,
    rate: f64,
}

/// Relative amplitudes of a pad's harmonics: a soft organ-like tone.
const PAD_HARMONICS: [f64; 4] = [1.0, 0.4, 0.2, 0.1];

impl PadVoice {
    /// The chord at its place and level.
    #[must_use]
    pub fn new(pad: &Pad, a4_hz: f64, power: f64, rate: f64) -> Self {
        let hz: Vec<f64> = pad.midi.iter().map(|midi| a4_hz * ((midi - 69.0) / 12.0).exp2()).collect();
        let each: f64 = PAD_HARMONICS.iter().map(|a| a * a / 2.0).sum();
        let wanted = power * 10f64.powf(-pad.below_db / 10.0);
        let gain = (wanted / (each * hz.len().max(1) as f64)).sqrt();
        Self { pad: pad.clone(), hz, gain, rate }
    }

    /// Its sample at a frame.
    #[must_use]
    pub fn sample(&self, frame: u64) -> f64 {
        let t = frame as f64 / self.rate;
        let edge = (t - self.pad.at_s).min(self.pad.until_s - t) / 0.15;
        if edge <= 0.0 {
            return 0.0;
        }
        let tone = |(voice, hz): (usize, &f64)| {
            let turns = hz * t + 0.21 * voice as f64;
            PAD_HARMONICS.iter().enumerate().map(|(h, a)| a * sin_turns(turns * (h + 1) as f64)).sum::<f64>()
        };
        edge.min(1.0) * self.gain * self.hz.iter().enumerate().map(tone).sum::<f64>()
    }
}

/// White noise at the plan's distance below the melody.
#[derive(Clone, Copy, Debug)]
pub struct NoiseVoice {
    seed: u64,
    gain: f64,
}

impl NoiseVoice {
    /// `None` where the scenario has no noise.
    #[must_use]
    pub fn new(plan: &Plan) -> Option<Self> {
        let noise = plan.scenario.noise.as_ref()?;
        Some(Self { seed: branch(plan.scenario.seed, 1), gain: (plan.power * 10f64.powf(-noise.snr_db / 10.0)).sqrt() })
    }

    /// Its sample at a frame.
    #[must_use]
    pub fn sample(&self, frame: u64) -> f64 {
        self.gain * white(self.seed, frame)
    }
}

/// The noise of pick and fingers: white noise with its lows taken out, gone after 12 ms.
#[derive(Clone, Copy, Debug)]
pub struct BurstVoice {
    seed: u64,
    rate: f64,
}

impl BurstVoice {
    /// Seconds that a burst lasts.
    pub const LASTS_S: f64 = 0.012;

    /// The bursts of a plan.
    #[must_use]
    pub fn new(plan: &Plan) -> Self {
        Self { seed: branch(plan.scenario.seed, 2), rate: f64::from(plan.scenario.rate_hz) }
    }

    /// The sample at a frame of a burst that began at `at`.
    #[must_use]
    pub fn sample(&self, at: u64, frame: u64) -> f64 {
        let t = (frame - at) as f64 / self.rate;
        if t >= Self::LASTS_S {
            return 0.0;
        }
        let envelope = (-t / 0.0025).exp() * (1.0 - t / Self::LASTS_S) * (t / 0.0003).min(1.0);
        let bright = white(self.seed, frame + 1) - white(self.seed, frame);
        envelope * bright / std::f64::consts::SQRT_2
    }
}
