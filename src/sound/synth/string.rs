//! One attack of a string: stiff, plucked, decaying.
//!
//! Conventions. Partial k of a stiff string is at `f_k = k f_0 √(1 + B k²)` (Fletcher, JASA 36, 203, 1964). The pitch of the string is the mean
//! of `f_k / k` over partials 1 to 12 weighted by power times k; the string is tuned so that this mean is the pitch asked for at every
//! instant, whatever the partials' decay does to their weights. A string plucked at a share β of its length has partials in proportion to
//! `sin(kπβ)` (Fletcher & Rossing, The Physics of Musical Instruments, ch. 2; from memory), here times a power of k. Each partial dies away
//! exponentially, and the attack is sharp by a glide that dies away exponentially ("Pitch glide analysis and synthesis from recorded
//! tones", DAFx). Left out: the two planes of vibration, the change of B with tension and along a slide.

use super::scenario::{Scenario, Tone};

/// Partials in the mean that is the pitch.
pub const PITCH_PARTIALS: usize = 12;

/// B of the open strings 1 to 6. Plain strings .010, .013, .017 on 648 mm, from `π³Ed⁴/(64TL²)` with E = 200 GPa; the wound ones are typical
/// values from memory.
const OPEN_INHARMONICITY: [f64; 6] = [13.23e-6, 39.84e-6, 108.15e-6, 40e-6, 70e-6, 130e-6];

/// Seconds from nothing to the full swing.
const ATTACK_S: f64 = 0.0015;

/// ln 1000: what falls by 60 dB falls by this exponent.
const SIXTY_DB: f64 = 6.907_755_278_982_137;

/// One partial at one instant.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Partial {
    /// Its number, 1 the lowest.
    pub number: usize,
    /// Frequency in Hz.
    pub hz: f64,
    /// Amplitude of its sine.
    pub amplitude: f64,
}

/// How a string sounds when struck: what stays the same from note to note.
#[derive(Clone, Debug)]
pub struct Timbre {
    /// `f_k / (k f_0)` of partial k.
    stretch: Vec<f64>,
    /// Amplitude of partial k at the attack, with the sign of its first swing.
    strength: Vec<f64>,
    /// Decay of partial k in nepers a second.
    decay: Vec<f64>,
    nyquist: f64,
}

impl Timbre {
    /// The sound of `string` at `fret`, struck so that its level is `level_dbfs`.
    #[must_use]
    pub fn new(scenario: &Scenario, tone: &Tone, string: usize, fret: u32, level_dbfs: f64) -> Self {
        // The string is shorter by 2^(-fret/12), and B goes with one over the length squared.
        let b = tone.inharmonicity.unwrap_or(OPEN_INHARMONICITY[string - 1] * (f64::from(fret) / 6.0).exp2());
        let numbers = || (1..=tone.partials).map(|k| k as f64);
        let strength: Vec<f64> = numbers().map(|k| (std::f64::consts::PI * k * tone.pluck_at).sin() * k.powf(-tone.slope)).collect();
        let power: f64 = strength.iter().map(|a| a * a / 2.0).sum();
        let gain = 10f64.powf(level_dbfs / 20.0) / power.sqrt();
        Self {
            stretch: numbers().map(|k| (1.0 + b * k * k).sqrt()).collect(),
            strength: strength.into_iter().map(|a| a * gain).collect(),
            decay: numbers().map(|k| SIXTY_DB / tone.decay_s * (1.0 + tone.decay_spread * (k - 1.0))).collect(),
            nyquist: f64::from(scenario.rate_hz) / 2.0,
        }
    }

    /// Partials that it has.
    #[must_use]
    pub fn count(&self) -> usize {
        self.strength.len()
    }

    /// `f_k / f_0` of the partial with index k - 1.
    #[must_use]
    pub fn ratio(&self, index: usize) -> f64 {
        (index + 1) as f64 * self.stretch[index]
    }

    /// Amplitude of the partial with index k - 1, `t` seconds after the attack, while the string is tuned to about `hz`. Partials fade out
    /// over the last tenth below the Nyquist frequency, so that a bend drives none past it.
    #[must_use]
    pub fn amplitude(&self, index: usize, t: f64, hz: f64) -> f64 {
        let room = (1.0 - self.ratio(index) * hz / self.nyquist) / 0.1;
        if room <= 0.0 {
            return 0.0;
        }
        self.strength[index] * (-self.decay[index] * t).exp() * room.min(1.0)
    }

    /// The pitch of the string over `f_0`, by the convention above; 1 for a string that has died away.
    #[must_use]
    pub fn pitch_over_f0(&self, t: f64, hz: f64) -> f64 {
        let mut sum = 0.0;
        let mut weights = 0.0;
        for index in 0..self.count().min(PITCH_PARTIALS) {
            let amplitude = self.amplitude(index, t, hz);
            let weight = amplitude * amplitude * (index + 1) as f64;
            sum += weight * self.stretch[index];
            weights += weight;
        }
        if weights > 0.0 { sum / weights } else { 1.0 }
    }

    /// Mean power, `t` seconds after the attack.
    #[must_use]
    pub fn power(&self, t: f64, hz: f64) -> f64 {
        (0..self.count()).map(|index| self.amplitude(index, t, hz).powi(2) / 2.0).sum()
    }

    /// Seconds until the first partial has fallen by `db`.
    #[must_use]
    pub fn seconds_to_fall(&self, db: f64) -> f64 {
        db * std::f64::consts::LN_10 / 20.0 / self.decay[0]
    }
}

/// The rise of an attack, 0 to 1, `t` seconds after it began.
#[must_use]
pub fn rise(t: f64) -> f64 {
    half_cosine(t / ATTACK_S)
}

/// 0 up to `x` = 0, 1 from `x` = 1, half a cosine between.
#[must_use]
pub fn half_cosine(x: f64) -> f64 {
    if x <= 0.0 {
        0.0
    } else if x >= 1.0 {
        1.0
    } else {
        0.5 - 0.5 * (std::f64::consts::PI * x).cos()
    }
}
