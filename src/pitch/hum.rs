//! Mains hum: learnt while nothing is played, taken out while something is.
//!
//! Hum is a set of lines at multiples of the mains frequency (50 or 60 Hz, within 0.3 %) whose amplitude and phase stand still. It is looked
//! for in windows of a quarter of a second: each line's frequency from the turn of its phase between two windows, their common
//! fundamental as the mean weighted by power times k² (the least-squares fit). A tone is taken for hum only when it is quiet, explains most of what
//! sounds, has lines among the three lowest, and neither grows nor decays between the two windows, as a string always does. The learnt
//! waveform is subtracted, which leaves a note that crosses a line as it was: a notch would turn its phase.

use rustfft::num_complex::Complex64;
use std::f64::consts::TAU;

/// Lines looked for.
const LINES: usize = 20;
/// Length of one window, s. 50 and 60 Hz lines stand 12 and more of its bins apart.
const WINDOW_S: f64 = 0.2;
/// From the first window to the second, s.
const APART_S: f64 = 0.08;
/// Nothing louder than this is learnt as hum (dBFS of the whole window).
const LOUDEST_DBFS: f64 = -28.0;
/// A mains frequency wanders by 0.1 %; three times that is looked at.
const WANDER: f64 = 0.003;
/// Points of one period of the learnt waveform.
const TABLE: usize = 2048;

/// The learnt waveform: one period of it, and where it stands.
#[derive(Debug)]
pub struct Hum {
    rate: f64,
    /// Windowing of the slow signal.
    taper: Vec<f64>,
    apart: usize,
    /// One period, the last point repeated.
    table: Vec<f32>,
    /// Periods per full-rate sample, and the period's phase at the next sample.
    step: f64,
    phase: f64,
    /// The waveform before this one, for fading over: table, step, phase.
    old: (Vec<f32>, f64, f64),
    fade: f64,
    active: bool,
}

/// One estimate: fundamental in Hz, lines as amplitudes with phase at the window's end.
struct Lines {
    hz: f64,
    lines: [Complex64; LINES],
}

impl Hum {
    /// At a full rate, learning from a slow signal.
    #[must_use]
    pub fn new(rate: f64, slow_rate: f64) -> Self {
        let n = (WINDOW_S * slow_rate) as usize;
        let taper: Vec<f64> = (0..n).map(|i| 0.5 - 0.5 * (TAU * (i as f64 + 0.5) / n as f64).cos()).collect();
        let sum: f64 = taper.iter().sum();
        Self {
            rate,
            taper: taper.into_iter().map(|t| 2.0 * t / sum).collect(),
            apart: (APART_S * slow_rate) as usize,
            table: vec![0.0; TABLE + 1],
            old: (vec![0.0; TABLE + 1], 0.0, 0.0),
            fade: 0.0,
            step: 0.0,
            phase: 0.0,
            active: false,
        }
    }

    /// Slow samples that one look takes.
    #[must_use]
    pub fn needs(&self) -> usize {
        self.taper.len() + self.apart
    }

    /// Looks at the last [`Self::needs`] slow samples of the untouched signal, which ended `ago` seconds before the next full-rate sample.
    pub fn look(&mut self, x: &[f32], slow_rate: f64, ago: f64) {
        let power = x.iter().map(|x| f64::from(x * x)).sum::<f64>() / x.len().max(1) as f64;
        if power <= 1e-10 || 10.0 * power.log10() > LOUDEST_DBFS {
            return;
        }
        let best = [50.0, 60.0]
            .into_iter()
            .filter_map(|mains| self.fit(x, slow_rate, mains, power))
            .max_by(|a, b| energy(a).total_cmp(&energy(b)));
        if let Some(found) = best {
            self.learn(&found, ago);
        }
    }

    fn fit(&self, x: &[f32], slow_rate: f64, mains: f64, power: f64) -> Option<Lines> {
        let first = self.project(&x[..self.taper.len()], slow_rate, mains);
        // Most looks end here: even at the frequency's limit the low lines keep nine tenths of their power under this window.
        let (total, low) = (first.iter().map(Complex64::norm_sqr).sum::<f64>(), first[..3].iter().map(Complex64::norm_sqr).sum::<f64>());
        if 0.5 * total < 0.3 * power || low < 0.08 * total {
            return None;
        }
        let second = self.project(&x[self.apart..], slow_rate, mains);
        let seconds = self.apart as f64 / slow_rate;
        // Each line's phase should have turned by k * mains * seconds; what it turned more is its frequency's error.
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
        if weight <= 0.0 {
            return None;
        }
        let hz = mains + off / weight;
        if (hz / mains - 1.0).abs() > WANDER {
            return None;
        }
        let (first, second) = (self.project(&x[..self.taper.len()], slow_rate, hz), self.project(&x[self.apart..], slow_rate, hz));
        let mut moved = 0.0;
        let mut lines = [Complex64::default(); LINES];
        for k in 0..LINES {
            let n = (k + 1) as f64;
            let turned = first[k] * Complex64::from_polar(1.0, TAU * n * hz * seconds);
            moved += (second[k] - turned).norm_sqr();
            // Referred to the window's end.
            let to_end = (self.taper.len() as f64 - 1.0) / slow_rate;
            lines[k] = 0.5 * (second[k] + turned) * Complex64::from_polar(1.0, TAU * n * hz * to_end);
        }
        let found = Lines { hz, lines };
        let total = energy(&found);
        let low = found.lines[..3].iter().map(Complex64::norm_sqr).sum::<f64>();
        // energy() counts squared amplitudes: twice the power.
        let steady = moved < 0.01 * total && 0.5 * total > 0.5 * power && low > 0.1 * total;
        steady.then_some(found)
    }

    /// Each line's amplitude with its phase at the first sample.
    fn project(&self, x: &[f32], slow_rate: f64, hz: f64) -> [Complex64; LINES] {
        let mut out = [Complex64::default(); LINES];
        let turn = Complex64::from_polar(1.0, -TAU * hz / slow_rate);
        let mut z = Complex64::new(1.0, 0.0);
        for (x, taper) in x.iter().zip(&self.taper) {
            let mut power = Complex64::new(f64::from(*x) * taper, 0.0);
            for line in &mut out {
                power *= z;
                *line += power;
            }
            z *= turn;
        }
        out
    }

    fn learn(&mut self, found: &Lines, ago: f64) {
        std::mem::swap(&mut self.table, &mut self.old.0);
        (self.old.1, self.old.2) = (self.step, self.phase);
        for (i, point) in self.table.iter_mut().enumerate() {
            let z = Complex64::from_polar(1.0, TAU * i as f64 / TABLE as f64);
            let mut power = z;
            let mut sum = 0.0;
            for line in &found.lines {
                sum += (line * power).re;
                power *= z;
            }
            *point = sum as f32;
        }
        self.step = found.hz / self.rate;
        self.phase = (found.hz * ago).rem_euclid(1.0);
        self.fade = 0.0;
        self.active = true;
    }

    /// The sample without the hum.
    pub fn take_out(&mut self, sample: f32) -> f32 {
        if !self.active {
            return sample;
        }
        let new = read(&self.table, self.phase);
        self.phase = (self.phase + self.step).fract();
        // 10 ms from the old waveform to the new one: no click for an attack detector to hear.
        self.fade = (self.fade + 100.0 / self.rate).min(1.0);
        let mut old = 0.0;
        if self.fade < 1.0 {
            old = read(&self.old.0, self.old.2);
            self.old.2 = (self.old.2 + self.old.1).fract();
        }
        let f = self.fade as f32;
        sample - (new * f + old * (1.0 - f))
    }
}

fn energy(found: &Lines) -> f64 {
    found.lines.iter().map(Complex64::norm_sqr).sum()
}

fn read(table: &[f32], phase: f64) -> f32 {
    let at = phase * TABLE as f64;
    let i = (at as usize).min(TABLE - 1);
    let f = (at - i as f64) as f32;
    table[i] + (table[i + 1] - table[i]) * f
}
