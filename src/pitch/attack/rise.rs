//! The rise: how much louder the last few milliseconds are than the loudest of the 16 ms before, in the mean over bands.

use std::sync::Arc;

use rustfft::{Fft, FftPlanner, num_complex::Complex};

use crate::units::SampleRate;

/// Length of a window: short, so that the stroke is seen within milliseconds, and long enough for bands of 190 Hz.
const WINDOW_S: f64 = 0.0053;
/// Windows step by a quarter, so that a Hann window misses nothing.
const STEPS_A_WINDOW: usize = 4;
/// How far back the ends of the windows lie that it is compared with; with their length that is more than a period of 60 Hz.
const PAST_S: f64 = 0.016;
/// Above it pickups give noise alone.
const HIGHEST_HZ: f64 = 12_000.0;
/// What one band may count.
const MOST_DB: f32 = 20.0;
/// Mean power of a bin (of a full-scale sine: 1) below which a change is no sound: 16-bit dither lies below it.
const SILENCE: f32 = 3.2e-10;
/// The same against the loudest heard lately: 75 dB below it is out of a guitar's range.
const BELOW_LOUDEST: f32 = 3.2e-8;
/// How fast the loudest is forgotten.
const FORGET_DB_PER_S: f64 = 3.0;

/// Measures the rise once a step, a quarter of a window.
pub(super) struct RiseMeter {
    fft: Arc<dyn Fft<f32>>,
    scratch: Vec<Complex<f32>>,
    spectrum: Vec<Complex<f32>>,
    window: Vec<f32>,
    /// The last window's samples, oldest first; those of the step that is being heard are still missing.
    samples: Vec<f32>,
    /// Where the next sample goes, in the window's last step.
    next_sample: usize,
    step: usize,
    /// Bins `edges[k]..edges[k + 1]` are band `k`.
    edges: Vec<usize>,
    now: Vec<f32>,
    /// The loudest of the past in each band.
    before: Vec<f32>,
    /// Widened bands of the last steps, a ring; all zero before anything was heard.
    past: Vec<Vec<f32>>,
    next_past: usize,
    loudest: f32,
    fade: f32,
}

/// The window's length in frames: the product of small primes nearest to [`WINDOW_S`], a multiple of [`STEPS_A_WINDOW`].
fn window_frames(rate: SampleRate) -> usize {
    let wanted = WINDOW_S * rate.as_f64();
    let mut best = 8_usize;
    for power in 3..20 {
        for frames in [1_usize << power, 3 << (power - 1)] {
            if (frames as f64 / wanted).ln().abs() < (best as f64 / wanted).ln().abs() {
                best = frames;
            }
        }
    }
    best
}

/// Band edges in bins: one bin wide at the bottom and wider towards the top, about as hearing is.
fn band_edges(rate: SampleRate, frames: usize) -> Vec<usize> {
    let bin_hz = rate.as_f64() / frames as f64;
    let end = (HIGHEST_HZ.min(0.46 * rate.as_f64()) / bin_hz) as usize + 1;
    let mut edges = vec![1];
    let mut from = 1;
    while from < end {
        let low_hz = from as f64 * bin_hz;
        let wide_hz = if low_hz < 1500.0 {
            190.0
        } else if low_hz < 3000.0 {
            380.0
        } else if low_hz < 6000.0 {
            570.0
        } else {
            760.0
        };
        from = (from + ((wide_hz / bin_hz).round() as usize).max(1)).min(end);
        edges.push(from);
    }
    edges
}

impl RiseMeter {
    pub(super) fn new(rate: SampleRate) -> Self {
        let frames = window_frames(rate);
        let step = frames / STEPS_A_WINDOW;
        let edges = band_edges(rate, frames);
        let bands = edges.len() - 1;
        let steps = ((PAST_S * rate.as_f64() / step as f64).round() as usize).max(STEPS_A_WINDOW + 1);
        let fft = FftPlanner::new().plan_fft_forward(frames);
        // Scaled so that a full-scale sine has power 1 in its bin.
        let window = (0..frames)
            .map(|i| {
                let hann = 0.5 - 0.5 * (std::f64::consts::TAU * i as f64 / frames as f64).cos();
                (hann * 4.0 / frames as f64) as f32
            })
            .collect();
        Self {
            scratch: vec![Complex::default(); fft.get_inplace_scratch_len()],
            fft,
            spectrum: vec![Complex::default(); frames],
            window,
            samples: vec![0.0; frames],
            next_sample: frames - step,
            step,
            edges,
            now: vec![0.0; bands],
            before: vec![0.0; bands],
            past: vec![vec![0.0; bands]; steps],
            next_past: 0,
            loudest: 0.0,
            fade: 10_f64.powf(-FORGET_DB_PER_S / 10.0 * step as f64 / rate.as_f64()) as f32,
        }
    }

    /// Forgets the sound (not how loud it was): what follows rises from nothing.
    pub(super) fn forget(&mut self) {
        self.samples.fill(0.0);
        for bands in &mut self.past {
            bands.fill(0.0);
        }
    }

    /// The rise in dB, once a step.
    pub(super) fn push(&mut self, sample: f32) -> Option<f32> {
        self.samples[self.next_sample] = sample;
        self.next_sample += 1;
        if self.next_sample < self.samples.len() {
            return None;
        }
        self.measure_bands();
        self.samples.copy_within(self.step.., 0);
        self.next_sample -= self.step;
        let rise = self.rise();
        self.remember();
        Some(rise)
    }

    fn measure_bands(&mut self) {
        for ((bin, &sample), &weight) in self.spectrum.iter_mut().zip(&self.samples).zip(&self.window) {
            *bin = Complex::new(sample * weight, 0.0);
        }
        self.fft.process_with_scratch(&mut self.spectrum, &mut self.scratch);
        for (power, edge) in self.now.iter_mut().zip(self.edges.windows(2)) {
            let bins = &self.spectrum[edge[0]..edge[1]];
            *power = bins.iter().map(Complex::norm_sqr).sum::<f32>() / bins.len() as f32;
        }
    }

    /// The newest windows overlap this one and hold part of the same stroke: only those that do not are the past.
    fn rise(&mut self) -> f32 {
        self.before.fill(0.0);
        let old = self.past.len() - (STEPS_A_WINDOW - 1);
        let (newer, older) = self.past.split_at(self.next_past);
        for bands in older.iter().chain(newer).take(old) {
            for (before, &band) in self.before.iter_mut().zip(bands) {
                *before = if band > *before { band } else { *before };
            }
        }
        let silence = SILENCE.max(self.loudest * BELOW_LOUDEST);
        let rises = self.now.iter().zip(&self.before).filter(|(now, before)| now > before);
        let sum: f32 = rises.map(|(now, before)| (10.0 * ((now + silence) / (before + silence)).log10()).min(MOST_DB)).sum();
        sum / self.now.len() as f32
    }

    fn remember(&mut self) {
        let larger = |a: f32, b: f32| if a > b { a } else { b };
        let widened = &mut self.past[self.next_past];
        widened.copy_from_slice(&self.now);
        for (wide, &above) in widened.iter_mut().zip(&self.now[1..]) {
            *wide = larger(*wide, above);
        }
        for (wide, &below) in widened[1..].iter_mut().zip(&self.now) {
            *wide = larger(*wide, below);
        }
        self.next_past = (self.next_past + 1) % self.past.len();
        self.loudest = self.now.iter().fold(self.loudest * self.fade, |most, &band| larger(most, band));
    }
}
