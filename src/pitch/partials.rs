//! The frequency of each partial along a known curve.
//!
//! Each partial `k` is brought to base band along `k` times the curve's phase, so that a bend does not smear it; what is left turns
//! slowly, by as much as the curve was wrong. The rate of turning under a window `w` is `-Im(Σ w' b / Σ w b)`: the frequency
//! reassignment of Auger & Flandrin (1995), exact for a steady or evenly gliding partial under a symmetric window.

use rustfft::num_complex::{Complex32, Complex64};

/// Partials looked at: the contract's pitch is a mean over 1 to 12.
pub const PARTIALS: usize = 12;

/// Base-band samples of all partials over one short block, and where the block lies.
#[derive(Clone, Copy, Debug, Default)]
pub struct Slice {
    /// Mean of the partial over the block, referred to the curve's phase.
    pub partials: [Complex32; PARTIALS],
    /// Whether a curve was there.
    pub known: bool,
}

/// Brings a stream of samples to base band along a curve.
#[derive(Debug)]
pub struct Heterodyne {
    /// Phase of the curve's fundamental at the next sample, in cycles.
    phase: f64,
    rate: f64,
}

impl Heterodyne {
    /// At a rate in frames a second.
    #[must_use]
    pub fn new(rate: f64) -> Self {
        Self { phase: 0.0, rate }
    }

    /// One block whose curve goes evenly from `from` to `to` Hz.
    pub fn block(&mut self, samples: &[f32], from: f64, to: f64) -> Slice {
        let n = samples.len() as f64;
        let mut out = [Complex32::default(); PARTIALS];
        let usable = ((0.46 * self.rate / from.max(to)) as usize).min(PARTIALS);
        // Half a step off, so that each sample is turned by the phase at its own middle.
        let mut turn = Complex64::from_polar(1.0, -std::f64::consts::TAU * self.phase);
        let step0 = from / self.rate;
        let slope = (to - from) / self.rate / n;
        let mut step = Complex64::from_polar(1.0, -std::f64::consts::TAU * (step0 + 0.5 * slope));
        let bend = Complex64::from_polar(1.0, -std::f64::consts::TAU * slope);
        for run in samples.chunks(RUN) {
            // Side by side, so that the processor does several samples at once; where a run is short, the rest is silence.
            let (mut z_re, mut z_im, mut re, mut im) = ([0.0f32; RUN], [0.0f32; RUN], [0.0f32; RUN], [0.0f32; RUN]);
            for (i, &x) in run.iter().enumerate() {
                (z_re[i], z_im[i]) = (turn.re as f32, turn.im as f32);
                (re[i], im[i]) = (z_re[i] * x, z_im[i] * x);
                turn *= step;
                step *= bend;
            }
            for o in &mut out[..usable] {
                *o += Complex32::new(sum(&re), sum(&im));
                for i in 0..RUN {
                    (re[i], im[i]) = (re[i] * z_re[i] - im[i] * z_im[i], re[i] * z_im[i] + im[i] * z_re[i]);
                }
            }
        }
        self.phase = (self.phase + n * step0 + 0.5 * slope * n * n).fract();
        for o in &mut out {
            *o /= n as f32;
        }
        Slice { partials: out, known: true }
    }
}

/// Samples that are turned side by side.
const RUN: usize = 16;

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

/// What one window says of one partial.
#[derive(Clone, Copy, Debug, Default)]
pub struct Partial {
    /// Power (squared amplitude of the base band under the window).
    pub power: f32,
    /// Frequency above the curve's own, in Hz of this partial.
    pub off_hz: f32,
}

/// Reads the partials around the middle of `x` along a tone of `hz` there that glides by `octaves_per_s`, through a Hann window of `half`
/// frames to each side; `x` is twice as long as the reach, which is at least the window's half. At full rate, so that nothing folds back.
#[must_use]
pub fn read(x: &[f32], rate: f64, hz: f64, octaves_per_s: f64, half: f64) -> [Partial; PARTIALS] {
    let middle = x.len() / 2;
    let within = (half.floor() as usize).min(middle);
    let usable = ((0.46 * rate / hz) as usize).min(PARTIALS);
    // Over a window of some milliseconds a glide in octaves is one in Hz: relative slope per frame.
    let glide = octaves_per_s * std::f64::consts::LN_2 / rate;
    let turn = |n: f64| Complex64::from_polar(1.0, -std::f64::consts::TAU * hz / rate * (n + 0.5 * glide * n * n));
    let start = -(within as f64);
    let mut z = turn(start);
    let mut step = turn(start + 1.0) / z;
    let bend = Complex64::from_polar(1.0, -std::f64::consts::TAU * hz / rate * glide);
    let omega = std::f64::consts::PI / half;
    let (mut sum, mut slope, mut weight) = ([Complex32::default(); PARTIALS], [Complex32::default(); PARTIALS], 0.0f32);
    for (i, &sample) in x[middle - within..middle + within].iter().enumerate() {
        let (sin, cos) = (omega * (start + i as f64)).sin_cos();
        let w = (0.5 + 0.5 * cos) as f32;
        let d = (-0.5 * omega * sin) as f32;
        weight += w;
        let z32 = Complex32::new(z.re as f32, z.im as f32);
        let mut power = z32 * sample;
        for k in 0..usable {
            sum[k] += power * w;
            slope[k] += power * d;
            power *= z32;
        }
        z *= step;
        step *= bend;
    }
    rates_of_turning(&sum, &slope, weight, |turning| turning * rate as f32)
}

/// From the sums under the window and its derivative to each partial's power and rate of turning; `per_second` makes the latter radians a second.
fn rates_of_turning(
    sum: &[Complex32; PARTIALS],
    slope: &[Complex32; PARTIALS],
    weight: f32,
    per_second: impl Fn(f32) -> f32,
) -> [Partial; PARTIALS] {
    let mut out = [Partial::default(); PARTIALS];
    for k in 0..PARTIALS {
        let power = sum[k].norm_sqr();
        if power > 0.0 && weight > 0.0 {
            let turning = per_second(-(slope[k] * sum[k].conj()).im / power);
            out[k] = Partial { power: power / (weight * weight), off_hz: turning / std::f32::consts::TAU };
        }
    }
    out
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

/// Looks at slices through a Hann window of `half` seconds to each side of the instant 0; slice `i` lies at `first + i * step` seconds. Slices
/// are wanted up to one step beyond the window.
///
/// The derivative is the window's own difference over one step to each side, so that it and the window agree on the grid of slices: the analytic
/// derivative is cut off at the window's edges, and the neighbouring partials then come through (1.2 cents at 208 Hz).
#[must_use]
pub fn look(slices: &[Slice], first: f64, step: f64, half: f64) -> [Partial; PARTIALS] {
    let mut sum = [Complex32::default(); PARTIALS];
    let mut slope = [Complex32::default(); PARTIALS];
    let mut weight = 0.0f32;
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
        if !slice.known || t.abs() >= half + step {
            continue;
        }
        let w = now as f32;
        let d = (0.5 * (after - before)) as f32;
        weight += w;
        for k in 0..PARTIALS {
            sum[k] += slice.partials[k] * w;
            slope[k] += slice.partials[k] * d;
        }
    }
    // Over a step to each side a steady tone turns by the sine of its angle per step.
    rates_of_turning(&sum, &slope, weight, |sine| sine.clamp(-1.0, 1.0).asin() / step as f32)
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
