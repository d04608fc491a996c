//! A slower copy of the signal for finding candidates: they need no treble, and an autocorrelation otherwise takes in noise
//! that holds no partials.

/// A linear-phase low-pass with decimation by a whole factor.
#[derive(Debug)]
pub struct Decimator {
    factor: usize,
    taps: Vec<f32>,
    /// The last `taps.len()` inputs, oldest first, written twice (see `History`).
    recent: Vec<f32>,
    at: usize,
    /// Inputs until the next output.
    until: usize,
}

impl Decimator {
    /// Half the length of the low-pass in output samples.
    const HALF_IN_OUTPUTS: usize = 4;

    /// Passes up to a third of the output's rate (Hann-windowed sinc, 8 output samples long): 4 kHz at 12 kHz.
    #[must_use]
    pub fn new(factor: usize) -> Self {
        let factor = factor.max(1);
        let half = if factor == 1 { 0 } else { Self::HALF_IN_OUTPUTS * factor };
        let cutoff = 0.36 / factor as f64;
        let mut taps: Vec<f64> = (0..=2 * half)
            .map(|i| {
                let t = i as f64 - half as f64;
                let sinc = if t == 0.0 { 2.0 * cutoff } else { (std::f64::consts::TAU * cutoff * t).sin() / (std::f64::consts::PI * t) };
                let hann = 0.5 + 0.5 * (std::f64::consts::PI * t / (half as f64 + 1.0)).cos();
                sinc * hann
            })
            .collect();
        let sum: f64 = taps.iter().sum();
        for tap in &mut taps {
            *tap /= sum;
        }
        let taps: Vec<f32> = taps.into_iter().map(|t| t as f32).collect();
        let n = taps.len();
        Self { factor, taps, recent: vec![0.0; 2 * n], at: 0, until: half + 1 }
    }

    /// Inputs that an output needs after the instant it describes.
    #[must_use]
    pub fn delay(&self) -> usize {
        self.taps.len() / 2
    }

    /// Takes one input; every `factor`-th call, once the filter's delay has passed, gives the next output. Output `m` describes
    /// input `m * factor`; before the take there was silence.
    pub fn push(&mut self, sample: f32) -> Option<f32> {
        let n = self.taps.len();
        self.recent[self.at] = sample;
        self.recent[self.at + n] = sample;
        self.at = if self.at + 1 == n { 0 } else { self.at + 1 };
        self.until -= 1;
        if self.until > 0 {
            return None;
        }
        self.until = self.factor;
        let window = &self.recent[self.at..self.at + n];
        // Eight sums side by side: one after the other they would wait for each other.
        let mut sums = [0.0f32; 8];
        let (xs, ts) = (window.chunks_exact(8), self.taps.chunks_exact(8));
        let rest: f32 = xs.remainder().iter().zip(ts.remainder()).map(|(x, t)| x * t).sum();
        for (x, t) in xs.zip(ts) {
            for ((sum, x), t) in sums.iter_mut().zip(x).zip(t) {
                *sum += x * t;
            }
        }
        Some(sums.iter().sum::<f32>() + rest)
    }
}
