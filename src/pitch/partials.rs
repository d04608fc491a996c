//! The frequency of each partial along a known curve.
//!
//! Each partial `k` is brought to base band along `k` times the curve's phase, so that a bend does not smear it; what is left turns
//! slowly, by as much as the curve was wrong. The rate of turning under a window `w` is `-Im(Σ w' b / Σ w b)`: the frequency
//! reassignment of Auger & Flandrin (1995), exact for a steady or evenly gliding partial under a symmetric window.

use rustfft::num_complex::Complex64;
use std::f64::consts::{LN_2, PI, TAU};

/// Partials looked at: the contract's pitch is a mean over 1 to 12.
pub const PARTIALS: usize = 12;

/// What one window says of one partial.
#[derive(Clone, Copy, Debug, Default)]
pub struct Partial {
    /// Power (squared amplitude of the base band under the window).
    pub power: f32,
    /// Frequency above the curve's own, in Hz of this partial.
    pub off_hz: f32,
}

/// Base band of each partial under a window and under its derivative.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Sums {
    sum: [[f32; PARTIALS]; 2],
    slope: [[f32; PARTIALS]; 2],
    weight: f32,
}

impl Sums {
    /// One instant of all partials, where the window is `w` and its derivative `d`.
    pub(super) fn add(&mut self, re: &[f32; PARTIALS], im: &[f32; PARTIALS], w: f32, d: f32) {
        self.weight += w;
        for (part, value) in [re, im].into_iter().enumerate() {
            for ((sum, slope), value) in self.sum[part].iter_mut().zip(&mut self.slope[part]).zip(value) {
                *sum += value * w;
                *slope += value * d;
            }
        }
    }

    /// Each partial's power and rate of turning; `per_second` makes the latter radians a second.
    pub(super) fn rates_of_turning(&self, per_second: impl Fn(f32) -> f32) -> [Partial; PARTIALS] {
        let ([re, im], [slope_re, slope_im]) = (&self.sum, &self.slope);
        std::array::from_fn(|k| {
            let power = re[k] * re[k] + im[k] * im[k];
            if power <= 0.0 || self.weight <= 0.0 {
                return Partial::default();
            }
            let turning = per_second(-(slope_im[k] * re[k] - slope_re[k] * im[k]) / power);
            Partial { power: power / (self.weight * self.weight), off_hz: turning / std::f32::consts::TAU }
        })
    }
}

/// Samples that are turned side by side, so that the processor does several at once.
pub(super) const RUN: usize = 16;

/// Reads the partials around the middle of `x` along a tone of `hz` there that glides by `octaves_per_s`, through a Hann window of `half`
/// frames to each side; `x` is twice as long as the reach, which is at least the window's half. At full rate, so that nothing folds back.
#[must_use]
pub fn read(x: &[f32], rate: f64, hz: f64, octaves_per_s: f64, half: f64) -> [Partial; PARTIALS] {
    let middle = x.len() / 2;
    let within = (half.floor() as usize).min(middle);
    let usable = ((0.46 * rate / hz) as usize).min(PARTIALS);
    let mut tone = Tone::new(hz / rate, octaves_per_s * LN_2 / rate, -(within as f64));
    let mut taper = Taper::new(PI / half, -(within as f64));
    let mut runs = Runs::default();
    let (whole, rest) = x[middle - within..middle + within].as_chunks::<RUN>();
    for run in whole {
        runs.add(run, &tone, &taper, usable);
        tone.advance();
        taper.advance();
    }
    if !rest.is_empty() {
        // Silence after the end; the taper has none there, either.
        let mut run = [0.0; RUN];
        run[..rest.len()].copy_from_slice(rest);
        taper.w[rest.len()..].fill(0.0);
        runs.add(&run, &tone, &taper, usable);
    }
    runs.sums().rates_of_turning(|turning| turning * rate as f32)
}

/// A gliding tone's turns at a run of samples. Double precision: over a window of 50 ms single would lose a hundredth of a cent.
pub(super) struct Tone {
    /// The turns themselves.
    pub(super) z: [Complex64; RUN],
    /// From each to its place in the next run, and from each of these to the next.
    step: [Complex64; RUN],
    bend: Complex64,
}

impl Tone {
    /// Of so many cycles a sample at sample 0, where it glides by `glide` of itself a sample; the first run begins at `start`. Over a window of
    /// some milliseconds a glide in octaves is one in Hz.
    pub(super) fn new(cycles: f64, glide: f64, start: f64) -> Self {
        const N: f64 = RUN as f64;
        let turn = |cycles: f64| Complex64::from_polar(1.0, -TAU * cycles);
        let mut this = Self { z: [Complex64::default(); RUN], step: [Complex64::default(); RUN], bend: turn(cycles * glide * N * N) };
        let mut z = turn(cycles * (start + 0.5 * glide * start * start));
        let mut one = turn(cycles * (1.0 + glide * (start + 0.5)));
        let mut all = turn(cycles * N * (1.0 + glide * (start + 0.5 * N)));
        let (bend_one, bend_all) = (turn(cycles * glide), turn(cycles * glide * N));
        for i in 0..RUN {
            (this.z[i], this.step[i]) = (z, all);
            z *= one;
            one *= bend_one;
            all *= bend_all;
        }
        this
    }

    /// To the next run.
    pub(super) fn advance(&mut self) {
        for (z, step) in self.z.iter_mut().zip(&mut self.step) {
            *z *= *step;
            *step *= self.bend;
        }
    }
}

/// A Hann window and its derivative at a run of samples.
struct Taper {
    omega: f64,
    cos: [f32; RUN],
    sin: [f32; RUN],
    /// Cosine and sine of the angle from one run to the next.
    next: (f32, f32),
    w: [f32; RUN],
    d: [f32; RUN],
}

impl Taper {
    /// `omega`: angle a sample; the window's middle is at sample 0.
    fn new(omega: f64, start: f64) -> Self {
        let turn = |angle: f64| Complex64::from_polar(1.0, angle);
        let (mut z, one, all) = (turn(omega * start), turn(omega), turn(omega * RUN as f64));
        let blank = [0.0; RUN];
        let mut this = Self { omega, cos: blank, sin: blank, next: (all.re as f32, all.im as f32), w: blank, d: blank };
        for i in 0..RUN {
            (this.cos[i], this.sin[i]) = (z.re as f32, z.im as f32);
            z *= one;
        }
        this.weigh();
        this
    }

    fn weigh(&mut self) {
        let half_omega = 0.5 * self.omega as f32;
        for i in 0..RUN {
            (self.w[i], self.d[i]) = (0.5 + 0.5 * self.cos[i], -half_omega * self.sin[i]);
        }
    }

    fn advance(&mut self) {
        for i in 0..RUN {
            let (c, s) = (self.cos[i], self.sin[i]);
            (self.cos[i], self.sin[i]) = (c * self.next.0 - s * self.next.1, c * self.next.1 + s * self.next.0);
        }
        self.weigh();
    }
}

/// The sums of [`Sums`], each place of a run by itself.
#[derive(Default)]
struct Runs {
    sum: [[[f32; RUN]; 2]; PARTIALS],
    slope: [[[f32; RUN]; 2]; PARTIALS],
    weight: [f32; RUN],
}

impl Runs {
    fn add(&mut self, x: &[f32; RUN], tone: &Tone, taper: &Taper, usable: usize) {
        let (mut z_re, mut z_im, mut re, mut im) = ([0.0f32; RUN], [0.0f32; RUN], [0.0f32; RUN], [0.0f32; RUN]);
        for i in 0..RUN {
            (z_re[i], z_im[i]) = (tone.z[i].re as f32, tone.z[i].im as f32);
            (re[i], im[i]) = (z_re[i] * x[i], z_im[i] * x[i]);
            self.weight[i] += taper.w[i];
        }
        for ([sum_re, sum_im], [slope_re, slope_im]) in self.sum.iter_mut().zip(&mut self.slope).take(usable) {
            for i in 0..RUN {
                sum_re[i] += re[i] * taper.w[i];
                sum_im[i] += im[i] * taper.w[i];
                slope_re[i] += re[i] * taper.d[i];
                slope_im[i] += im[i] * taper.d[i];
                (re[i], im[i]) = (re[i] * z_re[i] - im[i] * z_im[i], re[i] * z_im[i] + im[i] * z_re[i]);
            }
        }
    }

    fn sums(&self) -> Sums {
        let gathered = |values: &[[[f32; RUN]; 2]; PARTIALS]| [0, 1].map(|part| std::array::from_fn(|k| values[k][part].iter().sum()));
        Sums { sum: gathered(&self.sum), slope: gathered(&self.slope), weight: self.weight.iter().sum() }
    }
}

/// Periods in a window from which a neighbouring partial lies behind the sixth side lobe of a Hann window, 60 dB down.
pub const FAR_PERIODS: f64 = 6.0;

/// The longest half window within `most` seconds that spans whole periods of a tone: the neighbours of each partial, a whole number of
/// the window's bins away, then fall on its nulls. Where not even two fit, `most`; and where more than [`FAR_PERIODS`] do, since neighbours so far
/// out disturb by less than the shorter window would cost in noise.
#[must_use]
pub fn whole_periods(most: f64, hz: f64) -> f64 {
    let periods = (2.0 * most * hz).floor();
    if (2.0..FAR_PERIODS).contains(&periods) { periods / (2.0 * hz) } else { most }
}

/// The pitch that the partials agree on, in Hz above the curve's own: the mean of `f_k / k` weighted by power times `k`. `None`
/// where no partial sounds.
#[must_use]
pub fn mean_off_hz(partials: &[Partial; PARTIALS]) -> Option<f64> {
    let mut sum = 0.0f64;
    let mut weight = 0.0f64;
    for (i, p) in partials.iter().enumerate() {
        let k = (i + 1) as f64;
        let w = f64::from(p.power) * k;
        sum += w * f64::from(p.off_hz) / k;
        weight += w;
    }
    (weight > 0.0).then(|| sum / weight)
}
