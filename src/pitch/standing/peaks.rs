//! Steady partials of a mixture: peaks of the spectrum that stay where they are from one window to the next.
//!
//! A peak's frequency is reassigned: with the window's derivative as a second window, `f = f_k - Im(X_d / X) / 2 pi` (Auger & Flandrin, IEEE Trans. Signal
//! Processing 43, 1995, from memory), exact for a tone that does not change. Higher partials of a string or a voice lie beside the semitone grid by nature (the
//! third by 2 cents, the fifth by -14, the seventh by -31): a peak that a lower one explains that way is left out.

use crate::units::SampleRate;
use rustfft::num_complex::Complex64;
use rustfft::{Fft, FftPlanner};
use std::f64::consts::{PI, TAU};
use std::sync::Arc;

/// A window shows semitones from here on apart: nearly this long, s.
const WINDOW_S: f64 = 0.34;
/// Where partials are looked for, Hz: below, semitones are too near to each other; above, strings are too stiff.
const FROM_HZ: f64 = 80.0;
const TO_HZ: f64 = 2000.0;
/// Peaks this far under the highest one are not looked at, as a ratio (40 dB).
const LOW: f64 = 0.01;
/// A peak that moves by more from one window to the next is none that stands, cents.
const STANDS: f64 = 3.0;
/// Two peaks are partials of one tone when their ratio is a whole number within this, cents, and the lower one is no softer than this share.
const WHOLE: f64 = 10.0;
const AS_LOUD: f64 = 0.3;

/// A partial that stood.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Peak {
    /// The middle of its window, s.
    pub at_s: f64,
    /// Its frequency.
    pub hz: f64,
    /// Its amplitude, in any unit.
    pub size: f64,
}

/// Finds peaks window by window.
pub(super) struct Peaks {
    rate: f64,
    fft: Arc<dyn Fft<f64>>,
    /// The window, and its derivative as the imaginary part.
    window: Box<[Complex64]>,
    spectrum: Vec<Complex64>,
    scratch: Vec<Complex64>,
}

impl Peaks {
    pub(super) fn new(rate: SampleRate) -> Self {
        let length = ((WINDOW_S * rate.as_f64()) as usize).max(64).next_power_of_two();
        let turn = |n: usize| TAU * (n as f64 + 0.5) / length as f64;
        let window = (0..length).map(|n| Complex64::new(0.5 - 0.5 * turn(n).cos(), PI / length as f64 * turn(n).sin())).collect();
        let fft = FftPlanner::new().plan_fft_forward(length);
        let zero = Complex64::new(0.0, 0.0);
        let scratch = vec![zero; fft.get_inplace_scratch_len()];
        Self { rate: rate.as_f64(), fft, window, spectrum: vec![zero; length], scratch }
    }

    /// All partials that stand, in order of time.
    pub(super) fn of(&mut self, samples: &[f32]) -> Vec<Peak> {
        let length = self.window.len();
        let (mut found, mut before) = (Vec::new(), Vec::new());
        for (number, piece) in samples.windows(length).step_by(length / 4).enumerate() {
            let at_s = (number * (length / 4) + length / 2) as f64 / self.rate;
            let here = self.window(piece);
            let stood = |hz: f64| before.iter().any(|(other, _): &(f64, f64)| cents(hz / other).abs() < STANDS);
            let own = here.iter().enumerate().filter(|(place, _)| !is_explained(&here[..*place], here[*place]));
            found.extend(own.filter(|(_, peak)| stood(peak.0)).map(|(_, (hz, size))| Peak { at_s, hz: *hz, size: *size }));
            before = here;
        }
        found
    }

    /// The peaks of one window, from low to high: frequency and size.
    fn window(&mut self, piece: &[f32]) -> Vec<(f64, f64)> {
        for ((bin, sample), window) in self.spectrum.iter_mut().zip(piece).zip(&self.window) {
            *bin = window * f64::from(*sample);
        }
        self.fft.process_with_scratch(&mut self.spectrum, &mut self.scratch);
        let length = self.spectrum.len();
        // Two real signals in one transform: the even part is the first one's spectrum, the odd part the other's.
        let both = |bin: usize| (self.spectrum[bin], self.spectrum[(length - bin) % length].conj());
        let plain = |bin: usize| (both(bin).0 + both(bin).1) * 0.5;
        let derived = |bin: usize| (both(bin).0 - both(bin).1) * Complex64::new(0.0, -0.5);
        let bin_hz = self.rate / length as f64;
        let bins = (FROM_HZ / bin_hz) as usize..((TO_HZ / bin_hz) as usize).min(length / 2 - 2);
        let sizes: Vec<f64> = (0..length / 2).map(|bin| plain(bin).norm()).collect();
        let low = LOW * sizes.iter().copied().fold(0.0, f64::max);
        bins.filter(|bin| {
            let size = sizes[*bin];
            size > low && size > 0.0 && size > sizes[bin.saturating_sub(1)] && size >= sizes[bin + 1]
        })
        .filter_map(|bin| {
            let moved = -(derived(bin) / plain(bin)).im * length as f64 / TAU;
            (moved.abs() < 1.0).then_some(((bin as f64 + moved) * bin_hz, sizes[bin]))
        })
        .collect()
    }
}

fn cents(ratio: f64) -> f64 {
    1200.0 * ratio.log2()
}

/// Whether one of the lower peaks has this one as its third or higher partial.
fn is_explained(lower: &[(f64, f64)], (hz, size): (f64, f64)) -> bool {
    lower.iter().any(|(other, loud)| {
        let times = (hz / other).round();
        times >= 3.0 && *loud > AS_LOUD * size && cents(hz / other / times).abs() < WHOLE
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tones(hz: &[(f64, f64)]) -> Vec<f32> {
        (0..48_000).map(|n| hz.iter().map(|(hz, size)| size * (TAU * hz * f64::from(n) / 48_000.0).sin()).sum::<f64>() as f32).collect()
    }

    #[test]
    fn tones_that_stand_are_found_to_a_hundredth_of_a_cent_and_their_fifth_partials_left_out() {
        let peaks = Peaks::new(SampleRate::new(48_000).unwrap()).of(&tones(&[(196.3, 0.2), (981.5, 0.1), (440.7, 0.1)]));
        assert_eq!(peaks.len(), 14, "two in each of seven windows: {peaks:?}");
        for peak in &peaks {
            let nearest = [196.3, 440.7].into_iter().map(|hz| cents(peak.hz / hz).abs()).fold(f64::INFINITY, f64::min);
            assert!(nearest < 0.01, "{peak:?}");
        }
    }

    #[test]
    fn a_tone_that_slides_does_not_stand() {
        // An octave in a second.
        let mut turn = 0.0;
        let slide: Vec<f32> = (0..48_000)
            .map(|n| {
                turn += 220.0 * (f64::from(n) / 48_000.0).exp2() / 48_000.0;
                (0.2 * (TAU * turn).sin()) as f32
            })
            .collect();
        assert_eq!(Peaks::new(SampleRate::new(48_000).unwrap()).of(&slide), []);
    }
}
