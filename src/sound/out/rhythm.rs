//! Clicks and drums: short, computed, the same each time.

use super::envelope::fall_over;
use crate::units::SampleRate;
use std::f64::consts::TAU;

/// What a stroke is made of. Sizes are common practice, no source.
#[derive(Clone, Copy, Debug)]
pub(super) struct Recipe {
    /// Pitch at the start and where it falls to, Hz; 0 is no tone.
    hz: (f64, f64),
    /// Seconds in which the pitch falls most of the way.
    falls_s: f64,
    tone: f64,
    noise: f64,
    /// Noise as differences of noise: brighter.
    bright: bool,
    /// Seconds until it is 60 dB down.
    pub(super) lasts_s: f64,
}

pub(super) const CLICK: Recipe = Recipe { hz: (1000.0, 1000.0), falls_s: 1.0, tone: 0.7, noise: 0.0, bright: false, lasts_s: 0.06 };
pub(super) const ACCENT: Recipe = Recipe { hz: (1500.0, 1500.0), falls_s: 1.0, tone: 0.9, noise: 0.0, bright: false, lasts_s: 0.06 };
pub(super) const KICK: Recipe = Recipe { hz: (140.0, 50.0), falls_s: 0.03, tone: 0.9, noise: 0.0, bright: false, lasts_s: 0.35 };
pub(super) const SNARE: Recipe = Recipe { hz: (190.0, 180.0), falls_s: 0.02, tone: 0.3, noise: 0.3, bright: false, lasts_s: 0.22 };
pub(super) const HAT: Recipe = Recipe { hz: (0.0, 0.0), falls_s: 1.0, tone: 0.0, noise: 0.2, bright: true, lasts_s: 0.07 };

/// A stroke that sounds.
#[derive(Clone, Copy, Debug)]
pub(super) struct Stroke {
    recipe: Recipe,
    rate: f64,
    turn: f64,
    /// How much of the pitch's fall is left, and what stays of it per frame.
    high: (f64, f64),
    level: f64,
    fall: f64,
    noise: u64,
    before: f64,
}

impl Stroke {
    /// `seed` decides the noise.
    pub(super) fn new(recipe: Recipe, rate: SampleRate, seed: u64) -> Self {
        let falls = (-1.0 / (recipe.falls_s * rate.as_f64())).exp();
        Self {
            recipe,
            rate: rate.as_f64(),
            // A quarter turn in: the first frame is the loudest, so the stroke begins where it should.
            turn: 0.25,
            high: (1.0, falls),
            level: 1.0,
            fall: fall_over(rate.span(recipe.lasts_s).0),
            noise: seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1,
            before: 0.0,
        }
    }

    /// The next sample; `None` once it is over.
    pub(super) fn next(&mut self) -> Option<f64> {
        if self.level < super::envelope::GONE {
            return None;
        }
        let mut sample = 0.0;
        if self.recipe.tone > 0.0 {
            sample += self.recipe.tone * (TAU * self.turn).sin();
            let (start, end) = self.recipe.hz;
            self.turn = (self.turn + (end + (start - end) * self.high.0) / self.rate).fract();
            self.high.0 *= self.high.1;
        }
        if self.recipe.noise > 0.0 {
            let fresh = self.fresh();
            sample += self.recipe.noise * if self.recipe.bright { (fresh - self.before) * 0.5 } else { fresh };
            self.before = fresh;
        }
        sample *= self.level;
        self.level *= self.fall;
        Some(sample)
    }

    /// Noise, -1 to 1 (xorshift64: Marsaglia, J. Stat. Softw. 8, 14, 2003).
    fn fresh(&mut self) -> f64 {
        self.noise ^= self.noise << 13;
        self.noise ^= self.noise >> 7;
        self.noise ^= self.noise << 17;
        (self.noise >> 11) as f64 / (1_u64 << 52) as f64 - 1.0
    }
}

/// How long the sweep lasts, s.
pub(super) const SWEEP_S: f64 = 0.05;
/// From where to where it rises, Hz: what small loudspeakers and microphones pass.
const SWEEP_HZ: (f64, f64) = (600.0, 5000.0);
const SWEEP_LEVEL: f64 = 0.8;

/// One sample of the sweep: a tone that rises evenly, under a raised cosine; `None` once it is over.
pub(super) fn sweep(frame: u64, rate: SampleRate) -> Option<f64> {
    let frames = rate.span(SWEEP_S).0;
    if frame >= frames {
        return None;
    }
    let share = (frame as f64 + 0.5) / frames as f64;
    let seconds = share * SWEEP_S;
    let turns = seconds * (SWEEP_HZ.0 + 0.5 * (SWEEP_HZ.1 - SWEEP_HZ.0) * share);
    Some(SWEEP_LEVEL * (TAU * turns).sin() * (0.5 - 0.5 * (TAU * share).cos()))
}
