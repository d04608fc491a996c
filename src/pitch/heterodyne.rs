//! A stream of samples brought to base band along a curve, and a window's look at it.
//!
//! Each partial `k` is turned back by `k` times the curve's phase and averaged over short slices, so that a bend does not smear it; what is
//! left turns slowly, by as much as the curve was wrong. A window over many slices then tells how fast: see [`super::partials`].

use super::partials::{PARTIALS, Partial, Sums};
use rustfft::num_complex::Complex64;
use std::f64::consts::TAU;

/// Base-band samples of all partials over one short block.
#[derive(Clone, Copy, Debug, Default)]
pub struct Slice {
    /// Mean of each partial over the block, referred to the curve's phase: real part.
    re: [f32; PARTIALS],
    /// The imaginary part.
    im: [f32; PARTIALS],
    /// Whether a curve was there.
    known: bool,
}

/// Brings a stream of samples to base band along a curve.
#[derive(Debug)]
pub struct Heterodyne {
    /// Phase of the curve's fundamental at the next sample, in cycles.
    phase: f64,
    rate: f64,
}

/// Samples that are turned side by side.
const RUN: usize = 16;

impl Heterodyne {
    /// At a rate in frames a second.
    #[must_use]
    pub fn new(rate: f64) -> Self {
        Self { phase: 0.0, rate }
    }

    /// Samples whose curve goes evenly from `from` to `to` Hz, in `slices` blocks of one length.
    pub fn hop(&mut self, samples: &[f32], from: f64, to: f64, slices: usize, mut emit: impl FnMut(Slice)) {
        let n = samples.len() as f64;
        let usable = ((0.46 * self.rate / from.max(to)) as usize).min(PARTIALS);
        let step0 = from / self.rate;
        let slope = (to - from) / self.rate / n;
        let mut turn = Complex64::from_polar(1.0, -TAU * self.phase);
        // Half a step off, so that each sample is turned by the phase at its own middle.
        let mut step = Complex64::from_polar(1.0, -TAU * (step0 + 0.5 * slope));
        let bend = Complex64::from_polar(1.0, -TAU * slope);
        let length = (samples.len() / slices.max(1)).max(1);
        for block in samples.chunks_exact(length) {
            let mut slice = Slice { known: true, ..Slice::default() };
            for run in block.chunks(RUN) {
                let (mut z_re, mut z_im, mut sound) = ([0.0f32; RUN], [0.0f32; RUN], [0.0f32; RUN]);
                for (i, &x) in run.iter().enumerate() {
                    (z_re[i], z_im[i], sound[i]) = (turn.re as f32, turn.im as f32, x);
                    turn *= step;
                    step *= bend;
                }
                add_run(&mut slice, &sound, &z_re, &z_im, usable);
            }
            let mean = 1.0 / length as f32;
            slice.re.iter_mut().chain(&mut slice.im).for_each(|value| *value *= mean);
            emit(slice);
        }
        self.phase = (self.phase + n * step0 + 0.5 * slope * n * n).fract();
    }
}

/// Adds the partials of one run, whose rest is silence where it is short: side by side, so that the processor does several samples at once.
fn add_run(slice: &mut Slice, sound: &[f32; RUN], z_re: &[f32; RUN], z_im: &[f32; RUN], usable: usize) {
    let (mut re, mut im) = ([0.0f32; RUN], [0.0f32; RUN]);
    for i in 0..RUN {
        (re[i], im[i]) = (z_re[i] * sound[i], z_im[i] * sound[i]);
    }
    for k in 0..usable {
        slice.re[k] += sum(&re);
        slice.im[k] += sum(&im);
        for i in 0..RUN {
            (re[i], im[i]) = (re[i] * z_re[i] - im[i] * z_im[i], re[i] * z_im[i] + im[i] * z_re[i]);
        }
    }
}

/// Their sum, four by four.
fn sum(values: &[f32; RUN]) -> f32 {
    let mut four = [0.0f32; 4];
    for quad in values.chunks_exact(4) {
        for (sum, value) in four.iter_mut().zip(quad) {
            *sum += value;
        }
    }
    (four[0] + four[2]) + (four[1] + four[3])
}

/// Looks at slices through a Hann window of `half` seconds to each side of the instant 0; slice `i` lies at `first + i * step` seconds. Slices
/// are wanted up to one step beyond the window.
///
/// The derivative is the window's own difference over one step to each side, so that it and the window agree on the grid of slices: the analytic
/// derivative is cut off at the window's edges, and the neighbouring partials then come through (1.2 cents at 208 Hz).
#[must_use]
pub fn look(slices: &[Slice], first: f64, step: f64, half: f64) -> [Partial; PARTIALS] {
    let mut sums = Sums::default();
    // The window at slice i and at the ones beside it, cosine by cosine: cos(a + d) = 2 cos a cos d - cos(a - d).
    let (angle, turn) = (std::f64::consts::PI * (first - step) / half, std::f64::consts::PI * step / half);
    let double = 2.0 * turn.cos();
    let (mut last, mut here) = (angle.cos(), (angle + turn).cos());
    let window = |t: f64, cos: f64| if t.abs() < half { 0.5 + 0.5 * cos } else { 0.0 };
    for (i, slice) in slices.iter().enumerate() {
        let t = first + step * i as f64;
        let next = double * here - last;
        let (before, now, after) = (window(t - step, last), window(t, here), window(t + step, next));
        (last, here) = (here, next);
        if slice.known && t.abs() < half + step {
            sums.add(&slice.re, &slice.im, now as f32, (0.5 * (after - before)) as f32);
        }
    }
    // Over a step to each side a steady tone turns by the sine of its angle per step.
    sums.rates_of_turning(|sine| sine.clamp(-1.0, 1.0).asin() / step as f32)
}
