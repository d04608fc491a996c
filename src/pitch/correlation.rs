//! How alike a sound is to itself a period later: the tapered, normalised difference function.
//!
//! `n(τ) = 2 Σ w_j w_{j+τ} x_j x_{j+τ} / Σ w_j w_{j+τ} (x_j² + x_{j+τ}²)`: with a flat `w` this is the NSDF of McLeod & Wyvill (2005),
//! which is `1 - d'(τ)` of YIN's difference function (de Cheveigné & Kawahara 2002, step 2) normalised by the energy under it. The taper
//! `w` (Hann) keeps the edges of the window from mattering, as in Boersma (1993). 1 for any sound of period τ, whatever its decay.
//! Both sums come from one complex FFT forth (`w x` as the real part, `w x²` and `w` packed beside it) and one back.

use rustfft::num_complex::Complex32;
use rustfft::{Fft, FftPlanner};
use std::sync::Arc;

/// One window length with its plans and buffers. No call allocates.
pub struct Correlation {
    window: Vec<f32>,
    lags: usize,
    forward: Arc<dyn Fft<f32>>,
    inverse: Arc<dyn Fft<f32>>,
    taper_spectrum: Vec<Complex32>,
    buffer: Vec<Complex32>,
    cross: Vec<Complex32>,
    scratch: Vec<Complex32>,
    /// `n(τ)` of the last window for τ = 0 ..= lags.
    values: Vec<f32>,
}

impl std::fmt::Debug for Correlation {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Correlation").field("window", &self.window.len()).field("lags", &self.lags).finish_non_exhaustive()
    }
}

impl Correlation {
    /// For windows of `length` samples and lags up to `lags`, which is kept under the length.
    #[must_use]
    pub fn new(length: usize, lags: usize) -> Self {
        let length = length.max(8);
        let lags = lags.min(length - 2);
        let size = (length + lags + 1).next_power_of_two();
        let mut planner = FftPlanner::new();
        let forward = planner.plan_fft_forward(size);
        let inverse = planner.plan_fft_inverse(size);
        let window: Vec<f32> =
            (0..length).map(|i| (0.5 - 0.5 * (std::f64::consts::TAU * (i as f64 + 0.5) / length as f64).cos()) as f32).collect();
        let mut taper_spectrum = vec![Complex32::default(); size];
        for (s, w) in taper_spectrum.iter_mut().zip(&window) {
            s.re = *w;
        }
        let scratch_len = forward.get_inplace_scratch_len().max(inverse.get_inplace_scratch_len());
        let mut scratch = vec![Complex32::default(); scratch_len];
        forward.process_with_scratch(&mut taper_spectrum, &mut scratch);
        Self {
            window,
            lags,
            forward,
            inverse,
            taper_spectrum,
            buffer: vec![Complex32::default(); size],
            cross: vec![Complex32::default(); size],
            scratch,
            values: vec![0.0; lags + 1],
        }
    }

    /// Samples of one window.
    #[must_use]
    pub fn length(&self) -> usize {
        self.window.len()
    }

    /// The longest lag.
    #[must_use]
    pub fn lags(&self) -> usize {
        self.lags
    }

    /// `n(τ)` for τ = 0 ..= lags, -1 to 1; all 0 where the window is silent. `x` is as long as the window.
    pub fn of(&mut self, x: &[f32]) -> &[f32] {
        self.buffer.fill(Complex32::default());
        // Sound and square share one transform: at one scale neither rounds the other off, and a power of two changes no result.
        let loudest = x.iter().fold(0.0f32, |most, x| most.max(x.abs()));
        let scale = if loudest >= f32::MIN_POSITIVE { (-loudest.log2().floor()).exp2() } else { 1.0 };
        for ((b, x), w) in self.buffer.iter_mut().zip(x).zip(&self.window) {
            let x = x * scale;
            *b = Complex32::new(w * x, w * x * x);
        }
        self.forward.process_with_scratch(&mut self.buffer, &mut self.scratch);
        // The transform of a real signal a and a real signal b packed as a + i b comes apart by symmetry, and so do a's power and
        // Σ w_j x_j² w_{j+τ} + Σ w_j w_{j+τ} x_{j+τ}² (a cross-correlation and its mirror image, real in τ): bins k and n - k are alike.
        let n = self.buffer.len();
        let cross = |p: Complex32, q: Complex32, taper: Complex32| {
            let a = (p + q.conj()) * 0.5;
            let b = (p - q.conj()) * Complex32::new(0.0, -0.5);
            Complex32::new(a.norm_sqr(), 2.0 * (b * taper.conj()).re)
        };
        for k in [0, n / 2] {
            self.cross[k] = cross(self.buffer[k], self.buffer[k], self.taper_spectrum[k]);
        }
        let (low, high) = self.buffer.split_at(n / 2 + 1);
        let (cross_low, cross_high) = self.cross.split_at_mut(n / 2 + 1);
        let pairs = low[1..].iter().zip(high.iter().rev()).zip(&self.taper_spectrum[1..]);
        let places = cross_low[1..].iter_mut().zip(cross_high.iter_mut().rev());
        for (((p, q), taper), (left, right)) in pairs.zip(places) {
            let value = cross(*p, *q, *taper);
            (*left, *right) = (value, value);
        }
        self.inverse.process_with_scratch(&mut self.cross, &mut self.scratch);
        let floor = self.cross[0].im * 1e-6;
        for (v, c) in self.values.iter_mut().zip(&self.cross) {
            *v = if c.im > floor && c.im > 0.0 { (2.0 * c.re / c.im).clamp(-1.0, 1.0) } else { 0.0 };
        }
        &self.values
    }
}
