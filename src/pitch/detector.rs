//! Candidates of one instant from windows of two lengths.

use super::candidates::{self, Candidates};
use super::correlation::Correlation;
use super::front::Front;

/// Lowest and highest pitch that is followed, Hz.
pub const LOWEST_HZ: f64 = 60.0;
/// See [`LOWEST_HZ`].
pub const HIGHEST_HZ: f64 = 1600.0;

/// Lowest frequency that the short window is used for, Hz: nearly three periods must fit.
pub const SPLIT_HZ: f64 = 125.0;
/// Length of the short window, s.
const SHORT_S: f64 = 0.0225;
/// Length of the long window, s.
const LONG_S: f64 = 0.044;
/// Peaks under this height are no candidates.
const LEAST_CLARITY: f32 = 0.3;
/// Clarity that an octave up is worth (at 0.01 one reading in twenty is an octave down, at 0.08 one in a hundred).
pub const OCTAVE_COST: f32 = 0.08;

/// Finds the periods that the sound could have.
#[derive(Debug)]
pub struct Detector {
    short: Correlation,
    long: Correlation,
    slow_rate: f64,
}

impl Detector {
    /// For a slow signal of so many frames a second.
    #[must_use]
    pub fn new(slow_rate: f64) -> Self {
        candidates::prepare();
        let correlation = |seconds: f64, lowest: f64| {
            let length = ((seconds * slow_rate / 2.0).round() as usize * 2).max(16);
            Correlation::new(length, (slow_rate / lowest).ceil() as usize + 2)
        };
        Self { short: correlation(SHORT_S, SPLIT_HZ), long: correlation(LONG_S, LOWEST_HZ), slow_rate }
    }

    /// Slow samples needed after the instant for pitches from [`SPLIT_HZ`] up.
    #[must_use]
    pub fn short_reach(&self) -> u64 {
        self.short.length() as u64 / 2
    }

    /// Slow samples needed after the instant for all pitches.
    #[must_use]
    pub fn reach(&self) -> u64 {
        self.long.length() as u64 / 2
    }

    /// The candidates at slow sample `centre`; none where the history does not reach.
    pub fn at(&mut self, front: &Front, centre: u64) -> Candidates {
        let mut found = self.high(front, centre);
        self.add_low(front, centre, &mut found);
        found
    }

    /// The candidates from [`SPLIT_HZ`] up, which need the short window only.
    pub fn high(&mut self, front: &Front, centre: u64) -> Candidates {
        let mut found = Candidates::default();
        let (from, to) = ((self.slow_rate / HIGHEST_HZ) as f32, (self.slow_rate / SPLIT_HZ) as f32);
        offer(&mut self.short, front, centre, from, to, &mut found);
        found
    }

    /// Adds the candidates under [`SPLIT_HZ`].
    pub fn add_low(&mut self, front: &Front, centre: u64, found: &mut Candidates) {
        let (from, to) = ((self.slow_rate / SPLIT_HZ) as f32, (self.slow_rate / LOWEST_HZ) as f32);
        offer(&mut self.long, front, centre, from, to, found);
    }
}

fn offer(correlation: &mut Correlation, front: &Front, centre: u64, from: f32, to: f32, found: &mut Candidates) {
    let n = correlation.length();
    let Some(start) = centre.checked_sub(n as u64 / 2) else { return };
    if let Some(x) = front.slow.slice(start, n) {
        found.offer_peaks(correlation.of(x), from, to, LEAST_CLARITY, OCTAVE_COST);
    }
}
