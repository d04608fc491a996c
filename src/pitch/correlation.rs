//! How alike a sound is to itself a period later: the tapered, normalised difference function.
//!
//! `n(τ) = 2 Σ w_j w_{j+τ} x_j x_{j+τ} / Σ w_j w_{j+τ} (x_j² + x_{j+τ}²)`: with a flat `w` this is the NSDF of McLeod & Wyvill (2005),
//! which is `1 - d'(τ)` of YIN's difference function (de Cheveigné & Kawahara 2002, step 2) normalised by the energy under it. The taper
//! `w` (Hann) keeps the edges of the window from mattering, as in Boersma (1993). 1 for any sound of period τ, whatever its decay.
//!
//! The upper sum is the autocorrelation of `w x`, from one FFT forth and one back; two windows go through the same two, one as the real part and
//! one as the imaginary. The lower sum needs none: a Hann taper moved by τ is made of the same cosine and sine, so that it follows from
//! `Σ w x²` and `Σ w x² cos`, less what has left the window at either end.

use rustfft::num_complex::Complex32;
use rustfft::{Fft, FftPlanner};
use std::f64::consts::TAU;
use std::sync::Arc;

/// The taper of one window length, and the last values found through it. No call allocates.
#[derive(Debug)]
pub struct Window {
    taper: Vec<f32>,
    /// Cosine and sine of the taper's phase at each lag's sample and at the lag itself.
    turns: Vec<Turn>,
    /// `w x²` of the last window.
    energy: Vec<f32>,
    /// `n(τ)` of the last window for τ = 0 ..= lags.
    values: Vec<f32>,
}

#[derive(Clone, Copy, Debug)]
struct Turn {
    sample: (f64, f64),
    lag: (f64, f64),
}

impl Window {
    /// For `length` samples, at least 8, and lags up to `lags`, which is kept under half the length.
    #[must_use]
    pub fn new(length: usize, lags: usize) -> Self {
        let length = length.max(8);
        let lags = lags.min(length / 2 - 1);
        let angle = |at: f64| TAU * at / length as f64;
        let both = |at: f64| (angle(at).cos(), angle(at).sin());
        Self {
            taper: (0..length).map(|i| (0.5 - 0.5 * angle(i as f64 + 0.5).cos()) as f32).collect(),
            turns: (0..=lags).map(|i| Turn { sample: both(i as f64 + 0.5), lag: both(i as f64) }).collect(),
            energy: vec![0.0; length],
            values: vec![0.0; lags + 1],
        }
    }

    /// Samples of one window.
    #[must_use]
    pub fn length(&self) -> usize {
        self.taper.len()
    }

    /// Points that a transform must have, so that no lag meets the window's other end.
    fn needs(&self) -> usize {
        self.taper.len() + self.turns.len()
    }

    /// The tapered sound; its energy is kept. Both at one scale, so that a quiet sound is as exact as a loud one; a power of two changes no result.
    fn tapered<'a>(&'a mut self, x: &'a [f32]) -> impl Iterator<Item = f32> + 'a {
        let scale = scale(x);
        self.energy.iter_mut().zip(x).zip(&self.taper).map(move |((energy, x), w)| {
            let x = x * scale;
            *energy = w * x * x;
            w * x
        })
    }

    /// `n(τ)` from the autocorrelation of the tapered sound, each `times` as large as it is.
    fn normalise(&mut self, autocorrelation: impl Iterator<Item = f32>, times: f32) {
        let n = self.energy.len();
        let (all, tapered) = self.energy_and_tapered();
        // With w = (1 - cos) / 2 the sum of w x² cos follows from that of w x² w.
        let (mut flat, mut cos, mut sin) = (2.0 * all, 2.0 * (all - 2.0 * tapered), 0.0);
        let mut floor = 0.0;
        for (lag, ((value, turn), product)) in self.values.iter_mut().zip(&self.turns).zip(autocorrelation).enumerate() {
            let under = 0.5 * (flat - turn.lag.0 * cos + turn.lag.1 * sin) as f32;
            if lag == 0 {
                floor = 1e-6 * under;
            }
            let under = under * times;
            *value = if under > floor * times && under > 0.0 { (2.0 * product / under).clamp(-1.0, 1.0) } else { 0.0 };
            // One sample at each end is without a partner at the next lag.
            let left = f64::from(self.energy[lag] + self.energy[n - 1 - lag]);
            flat -= left;
            cos -= turn.sample.0 * left;
            sin += turn.sample.1 * left;
        }
    }
}

impl Window {
    /// `Σ w x²` and `Σ w² x²`, eight sums side by side.
    fn energy_and_tapered(&self) -> (f64, f64) {
        let (mut all, mut tapered) = ([0.0f32; 8], [0.0f32; 8]);
        let (energies, rest) = self.energy.as_chunks::<8>();
        let (tapers, rest_of_taper) = self.taper.as_chunks::<8>();
        for (energy, w) in energies.iter().zip(tapers) {
            for i in 0..8 {
                all[i] += energy[i];
                tapered[i] += energy[i] * w[i];
            }
        }
        let sum = |eight: [f32; 8]| eight.into_iter().map(f64::from).sum::<f64>();
        let last = rest.iter().zip(rest_of_taper).map(|(energy, w)| f64::from(energy * w)).sum::<f64>();
        (sum(all) + rest.iter().copied().map(f64::from).sum::<f64>(), sum(tapered) + last)
    }
}

/// The power of two that brings the loudest sample between 1 and 2.
fn scale(x: &[f32]) -> f32 {
    let mut most = [0.0f32; 8];
    let (eights, rest) = x.as_chunks::<8>();
    for eight in eights {
        for (most, x) in most.iter_mut().zip(eight) {
            *most = if x.abs() > *most { x.abs() } else { *most };
        }
    }
    let loudest = most.iter().chain(rest).fold(0.0f32, |most, x| most.max(x.abs()));
    if loudest >= f32::MIN_POSITIVE { (-loudest.log2().floor()).exp2() } else { 1.0 }
}

/// Autocorrelations of one window or of two at once. No call allocates.
pub struct Transform {
    forward: Arc<dyn Fft<f32>>,
    inverse: Arc<dyn Fft<f32>>,
    buffer: Vec<Complex32>,
    scratch: Vec<Complex32>,
}

impl std::fmt::Debug for Transform {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Transform").field("size", &self.buffer.len()).finish_non_exhaustive()
    }
}

impl Transform {
    /// For windows up to the size of this one.
    #[must_use]
    pub fn new(largest: &Window) -> Self {
        // A power of two, or three quarters of one where that is enough.
        let two = largest.needs().next_power_of_two();
        let size = if two / 4 * 3 >= largest.needs() { two / 4 * 3 } else { two };
        let mut planner = FftPlanner::new();
        let (forward, inverse) = (planner.plan_fft_forward(size), planner.plan_fft_inverse(size));
        let scratch = forward.get_inplace_scratch_len().max(inverse.get_inplace_scratch_len());
        Self { forward, inverse, buffer: vec![Complex32::default(); size], scratch: vec![Complex32::default(); scratch] }
    }

    /// `n(τ)` for τ = 0 ..= lags, -1 to 1; all 0 where the window is silent. `x` is as long as the window.
    pub fn of<'a>(&mut self, window: &'a mut Window, x: &[f32]) -> &'a [f32] {
        self.load(window, x);
        self.correlate();
        window.normalise(self.buffer.iter().map(|c| c.re), self.buffer.len() as f32);
        &window.values
    }

    /// [`Self::of`] a longer window and a shorter one at the price of the longer.
    pub fn of_both<'a>(&mut self, long: &'a mut Window, far: &[f32], short: &'a mut Window, near: &[f32]) -> (&'a [f32], &'a [f32]) {
        self.load(long, far);
        for (place, x) in self.buffer.iter_mut().zip(short.tapered(near)) {
            place.im = x;
        }
        self.correlate();
        long.normalise(self.buffer.iter().map(|c| c.re), self.buffer.len() as f32);
        short.normalise(self.buffer.iter().map(|c| c.im), self.buffer.len() as f32);
        (&long.values, &short.values)
    }

    fn load(&mut self, window: &mut Window, x: &[f32]) {
        for (place, x) in self.buffer.iter_mut().zip(window.tapered(x)) {
            *place = Complex32::new(x, 0.0);
        }
        self.buffer[x.len()..].fill(Complex32::default());
    }

    /// From two real sounds, packed as one complex, to their autocorrelations, packed alike and as many times as large as the transform has points.
    fn correlate(&mut self) {
        self.forward.process_with_scratch(&mut self.buffer, &mut self.scratch);
        // The transform of a + i b comes apart by symmetry: that of a is (p + q*) / 2 in bin k and (q + p*) / 2 in bin n - k, and so on.
        let half = self.buffer.len() / 2;
        let (low, high) = self.buffer.split_at_mut(half + 1);
        for alone in [0, half] {
            low[alone] = Complex32::new(low[alone].re * low[alone].re, low[alone].im * low[alone].im);
        }
        for (p, q) in low[1..half].iter_mut().zip(high.iter_mut().rev()) {
            let (a, b) = ((p.re + q.re, p.im - q.im), (p.im + q.im, p.re - q.re));
            *p = Complex32::new(0.25 * (a.0 * a.0 + a.1 * a.1), 0.25 * (b.0 * b.0 + b.1 * b.1));
            *q = *p;
        }
        self.inverse.process_with_scratch(&mut self.buffer, &mut self.scratch);
    }
}
