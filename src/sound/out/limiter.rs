//! Keeps the output under a peak that cannot be passed, without a hard edge: it looks a moment ahead and is down before the peak comes.
//!
//! The gain that each sample needs is `min(1, PEAK / |x|)`. Its minimum over a window, averaged over the same window, is at most what the sample in
//! the middle needs: so the peak holds by construction, and a sound that needs no limiting passes bit for bit.

use crate::units::SampleRate;

/// The highest sample that leaves: -6 dB of full scale. Headroom for what converters and resamplers add between samples (some 3 dB at worst, common
/// practice, no source), and for ears.
pub const PEAK: f32 = 0.5;

/// How far it looks ahead, s.
const AHEAD_S: f64 = 0.0015;
/// How long it takes to come back most of the way, s.
const BACK_S: f64 = 0.08;
/// Gains are whole numbers of this: sums of them are exact, however long they run.
const UNIT: u32 = 1 << 24;

pub(super) struct Limiter {
    samples: Box<[f32]>,
    /// What each sample in the window needs.
    needs: Box<[u32]>,
    /// Minima over the window.
    minima: Box<[u32]>,
    sum: u64,
    at: usize,
    last: u32,
    back: f64,
}

impl Limiter {
    pub(super) fn new(rate: SampleRate) -> Self {
        let window = rate.span(AHEAD_S).0.max(1) as usize;
        Self {
            samples: vec![0.0; window].into(),
            needs: vec![UNIT; window].into(),
            minima: vec![UNIT; window].into(),
            sum: u64::from(UNIT) * window as u64,
            at: 0,
            last: UNIT,
            back: 1.0 - (-1.0 / (BACK_S * rate.as_f64())).exp(),
        }
    }

    /// So many frames later a sample comes out.
    pub(super) fn delay(&self) -> usize {
        self.samples.len() - 1
    }

    /// Takes one sample, gives the one of [`Self::delay`] frames before.
    pub(super) fn pass(&mut self, sample: f32) -> f32 {
        let sample = if sample.is_finite() { sample } else { 0.0 };
        let window = self.samples.len();
        self.samples[self.at] = sample;
        self.needs[self.at] = needed(sample);
        let least = self.needs.iter().copied().min().unwrap_or(UNIT);
        let risen = self.last + (f64::from(UNIT - self.last) * self.back).ceil() as u32;
        self.last = least.min(risen);
        self.sum = self.sum - u64::from(self.minima[self.at]) + u64::from(self.last);
        self.minima[self.at] = self.last;
        self.at = (self.at + 1) % window;
        let gain = (self.sum / window as u64) as f32 / UNIT as f32;
        // Only rounding is left to cut.
        (self.samples[self.at] * gain).clamp(-PEAK, PEAK)
    }
}

fn needed(sample: f32) -> u32 {
    let size = sample.abs();
    if size <= PEAK { UNIT } else { (f64::from(PEAK) / f64::from(size) * f64::from(UNIT)) as u32 }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_quiet_passes_bit_for_bit_and_what_is_loud_never_passes_the_peak() {
        let mut limiter = Limiter::new(SampleRate::new(48_000).unwrap());
        let delay = limiter.delay();
        let input: Vec<f32> =
            (0..40_000_u32).map(|n| if (5000..9000).contains(&n) { if n.is_multiple_of(3) { 40.0 } else { -9.0 } } else { 0.4 }).collect();
        let out: Vec<f32> = input.iter().map(|sample| limiter.pass(*sample)).collect();
        assert!(out.iter().all(|sample| sample.abs() <= PEAK));
        assert_eq!(&out[delay..4900], &input[..4900 - delay]);
        assert!(out[5000 + delay..9000 + delay].iter().any(|sample| sample.abs() > 0.49 * PEAK * 2.0), "no more than needed");
        // Eight times as long as it takes to come most of the way.
        assert!((out[39_900] - 0.4).abs() < 1e-3, "it comes back: {}", out[39_900]);
    }
}
