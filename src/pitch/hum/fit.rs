//! The lines of hum in a stretch of sound, where there is any.

use super::super::partials::{RUN, Tone};
use rustfft::num_complex::Complex64;
use std::f64::consts::TAU;

/// Lines looked for.
pub(super) const LINES: usize = 20;
/// Length of one window, s. 50 and 60 Hz lines stand 12 and more of its bins apart.
const WINDOW_S: f64 = 0.2;
/// From the first window to the second, s.
const APART_S: f64 = 0.08;
/// A mains frequency wanders by 0.1 %; three times that is looked at.
const WANDER: f64 = 0.003;

/// Share of hum that is at lines where no note at one of them has a partial.
const BESIDE: f64 = 0.05;

/// One estimate: fundamental in Hz, lines as amplitudes with phase at the stretch's end.
#[derive(Clone, Copy, Debug)]
pub(super) struct Lines {
    pub(super) hz: f64,
    pub(super) amplitudes: [Complex64; LINES],
    /// Share of the power that was not where it should have been after the time from one window to the next.
    pub(super) moved: f64,
    /// Share of the three lowest lines.
    pub(super) low: f64,
}

impl Lines {
    /// No hum.
    pub(super) fn silent() -> Self {
        Self { hz: 50.0, amplitudes: [Complex64::default(); LINES], moved: 0.0, low: 0.0 }
    }

    /// Mean power of the lines that are multiples of line `k`, from 1.
    pub(super) fn power(&self, k: usize) -> f64 {
        0.5 * self.amplitudes.iter().skip(k - 1).step_by(k).map(Complex64::norm_sqr).sum::<f64>()
    }
}

impl Lines {
    /// How alike the powers of the lines are to another's, whatever their level: 1 where they are the same.
    pub(super) fn likeness(&self, other: &Self) -> f64 {
        let product =
            |a: &Self, b: &Self| -> f64 { a.amplitudes.iter().zip(&b.amplitudes).map(|(a, b)| a.norm_sqr() * b.norm_sqr()).sum() };
        product(self, other) / (product(self, self) * product(other, other)).sqrt()
    }

    /// Whether there is something at lines that are no multiples of a higher one: else it could be a note there.
    pub(super) fn is_more_than_a_note(&self) -> bool {
        (2..=6).all(|k| self.power(k) < (1.0 - BESIDE) * self.power(1))
    }
}

/// Looks through two windows of the slow signal.
#[derive(Debug)]
pub(super) struct Fit {
    slow_rate: f64,
    taper: Vec<f32>,
    apart: usize,
}

impl Fit {
    pub(super) fn new(slow_rate: f64) -> Self {
        let n = (WINDOW_S * slow_rate) as usize;
        let taper: Vec<f64> = (0..n).map(|i| 0.5 - 0.5 * (TAU * (i as f64 + 0.5) / n as f64).cos()).collect();
        let sum: f64 = taper.iter().sum();
        Self { slow_rate, taper: taper.into_iter().map(|t| (2.0 * t / sum) as f32).collect(), apart: (APART_S * slow_rate) as usize }
    }

    /// Slow samples that one look takes.
    pub(super) fn needs(&self) -> usize {
        self.taper.len() + self.apart
    }

    /// The lines near multiples of `mains` Hz in [`Self::needs`] samples of so much mean power, where they are most of it and stand still.
    pub(super) fn lines(&self, x: &[f32], mains: f64, power: f64) -> Option<Lines> {
        let (before, after) = (&x[..self.taper.len()], &x[self.apart..]);
        let first = self.project(before, mains);
        // Most looks end here: even at the frequency's limit the low lines keep nine tenths of their power under this window.
        let (total, low) = (first.iter().map(Complex64::norm_sqr).sum::<f64>(), first[..3].iter().map(Complex64::norm_sqr).sum::<f64>());
        if 0.5 * total < 0.3 * power || low < 0.08 * total {
            return None;
        }
        let hz = mains + self.off(&first, &self.project(after, mains), mains)?;
        if (hz / mains - 1.0).abs() > WANDER {
            return None;
        }
        let (first, second) = (self.project(before, hz), self.project(after, hz));
        let mut moved = 0.0;
        let mut amplitudes = [Complex64::default(); LINES];
        // To the stretch's end.
        let to_end = (self.taper.len() as f64 - 1.0) / self.slow_rate;
        for k in 0..LINES {
            let n = (k + 1) as f64;
            let turned = first[k] * Complex64::from_polar(1.0, TAU * n * hz * self.seconds());
            moved += (second[k] - turned).norm_sqr();
            amplitudes[k] = 0.5 * (second[k] + turned) * Complex64::from_polar(1.0, TAU * n * hz * to_end);
        }
        let total = amplitudes.iter().map(Complex64::norm_sqr).sum::<f64>();
        let low = amplitudes[..3].iter().map(Complex64::norm_sqr).sum::<f64>() / total;
        let found = Lines { hz, amplitudes, moved: moved / total, low };
        let steady = found.moved < 0.01 && 0.5 * total > 0.5 * power && low > 0.1 && found.is_more_than_a_note();
        steady.then_some(found)
    }

    /// From one window to the next, s.
    fn seconds(&self) -> f64 {
        self.apart as f64 / self.slow_rate
    }

    /// Hz that the fundamental is above `mains`: each line's phase should have turned by `k * mains * seconds`; what it turned more is its
    /// frequency's error.
    fn off(&self, first: &[Complex64; LINES], second: &[Complex64; LINES], mains: f64) -> Option<f64> {
        let seconds = self.seconds();
        let (mut off, mut weight) = (0.0, 0.0);
        for k in 0..LINES {
            let n = (k + 1) as f64;
            let turned = (second[k] * first[k].conj() * Complex64::from_polar(1.0, -TAU * n * mains * seconds)).arg();
            let w = (first[k].norm_sqr() * second[k].norm_sqr()).sqrt();
            // Above the line whose phase could have turned by more than half a turn, the wander is ambiguous.
            if n * mains * WANDER * seconds < 0.5 {
                off += w * n * turned / TAU / seconds;
                weight += w * n * n;
            }
        }
        (weight > 0.0).then(|| off / weight)
    }

    /// Each line's amplitude with its phase at the first sample.
    fn project(&self, x: &[f32], hz: f64) -> [Complex64; LINES] {
        let mut sums = [[[0.0f32; RUN]; 2]; LINES];
        let mut tone = Tone::new(hz / self.slow_rate, 0.0, 0.0);
        for (x, taper) in x.chunks(RUN).zip(self.taper.chunks(RUN)) {
            // Side by side, so that the processor does several samples at once; where a run is short, the rest is silence.
            let (mut re, mut im) = ([0.0f32; RUN], [0.0f32; RUN]);
            re.iter_mut().zip(x).zip(taper).for_each(|((re, x), taper)| *re = x * taper);
            let z_re = tone.z.map(|z| z.re as f32);
            let z_im = tone.z.map(|z| z.im as f32);
            for [sum_re, sum_im] in &mut sums {
                for i in 0..RUN {
                    (re[i], im[i]) = (re[i] * z_re[i] - im[i] * z_im[i], re[i] * z_im[i] + im[i] * z_re[i]);
                    sum_re[i] += re[i];
                    sum_im[i] += im[i];
                }
            }
            tone.advance();
        }
        let whole = |lanes: &[f32; RUN]| lanes.iter().copied().map(f64::from).sum();
        sums.map(|[re, im]| Complex64::new(whole(&re), whole(&im)))
    }
}
