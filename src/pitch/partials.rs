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
        for &x in samples {
            let z = Complex32::new(turn.re as f32, turn.im as f32);
            let mut power = z * x;
            for o in &mut out[..usable] {
                *o += power;
                power *= z;
            }
            turn *= step;
            step *= bend;
        }
        self.phase = (self.phase + n * step0 + 0.5 * slope * n * n).fract();
        for o in &mut out {
            *o /= n as f32;
        }
        Slice { partials: out, known: true }
    }
}

/// What one window says of one partial.
#[derive(Clone, Copy, Debug, Default)]
pub struct Partial {
    /// Power (squared amplitude of the base band under the window).
    pub power: f32,
    /// Frequency above the curve's own, in Hz of this partial.
    pub off_hz: f32,
}

/// Looks at slices through a Hann window of `half` seconds to each side of `centre`; slice `i` lies at `first + i * step` seconds.
#[must_use]
pub fn look(slices: &[Slice], first: f64, step: f64, half: f64) -> [Partial; PARTIALS] {
    let mut sum = [Complex32::default(); PARTIALS];
    let mut slope = [Complex32::default(); PARTIALS];
    let mut weight = 0.0f32;
    let omega = std::f64::consts::PI / half;
    for (i, slice) in slices.iter().enumerate() {
        let t = first + step * i as f64;
        if !slice.known || t.abs() >= half {
            continue;
        }
        let (s, c) = (omega * t).sin_cos();
        let w = (0.5 + 0.5 * c) as f32;
        let d = (-0.5 * omega * s) as f32;
        weight += w;
        for k in 0..PARTIALS {
            sum[k] += slice.partials[k] * w;
            slope[k] += slice.partials[k] * d;
        }
    }
    let mut out = [Partial::default(); PARTIALS];
    if weight <= 0.0 {
        return out;
    }
    for k in 0..PARTIALS {
        let power = sum[k].norm_sqr();
        if power > 0.0 {
            let turning = -(slope[k] * sum[k].conj()).im / power;
            out[k] = Partial { power: power / (weight * weight), off_hz: turning / std::f32::consts::TAU };
        }
    }
    out
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
