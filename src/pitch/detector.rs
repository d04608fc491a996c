//! Candidates of one instant from windows of two lengths.

use super::candidates::{self, Candidates};
use super::correlation::{Transform, Window};
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
    short: Window,
    long: Window,
    /// For the short window alone, and for the long one with or without the short.
    small: Transform,
    large: Transform,
    slow_rate: f64,
}

impl Detector {
    /// For a slow signal of so many frames a second.
    #[must_use]
    pub fn new(slow_rate: f64) -> Self {
        candidates::prepare();
        let window = |seconds: f64, lowest: f64| {
            let length = ((seconds * slow_rate / 2.0).round() as usize * 2).max(16);
            Window::new(length, (slow_rate / lowest).ceil() as usize + 2)
        };
        let (short, long) = (window(SHORT_S, SPLIT_HZ), window(LONG_S, LOWEST_HZ));
        Self { small: Transform::new(&short), large: Transform::new(&long), short, long, slow_rate }
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
        let (Some(near), Some(far)) = (around(front, centre, &self.short), around(front, centre, &self.long)) else {
            return self.high(front, centre);
        };
        let (high, low) = (self.high_periods(), self.low_periods());
        let (long, short) = self.large.of_both(&mut self.long, far, &mut self.short, near);
        let mut found = Candidates::default();
        found.offer_peaks(short, high.0, high.1, LEAST_CLARITY, OCTAVE_COST);
        found.offer_peaks(long, low.0, low.1, LEAST_CLARITY, OCTAVE_COST);
        found
    }

    /// The candidates from [`SPLIT_HZ`] up, which need the short window only.
    pub fn high(&mut self, front: &Front, centre: u64) -> Candidates {
        let mut found = Candidates::default();
        let (from, to) = self.high_periods();
        if let Some(x) = around(front, centre, &self.short) {
            found.offer_peaks(self.small.of(&mut self.short, x), from, to, LEAST_CLARITY, OCTAVE_COST);
        }
        found
    }

    /// Adds the candidates under [`SPLIT_HZ`].
    pub fn add_low(&mut self, front: &Front, centre: u64, found: &mut Candidates) {
        let (from, to) = self.low_periods();
        if let Some(x) = around(front, centre, &self.long) {
            found.offer_peaks(self.large.of(&mut self.long, x), from, to, LEAST_CLARITY, OCTAVE_COST);
        }
    }

    /// Shortest and longest period, in slow samples, that the short window is asked for.
    fn high_periods(&self) -> (f32, f32) {
        ((self.slow_rate / HIGHEST_HZ) as f32, (self.slow_rate / SPLIT_HZ) as f32)
    }

    /// The same of the long window.
    fn low_periods(&self) -> (f32, f32) {
        ((self.slow_rate / SPLIT_HZ) as f32, (self.slow_rate / LOWEST_HZ) as f32)
    }
}

/// The slow samples that a window around `centre` takes, where all of them are kept.
fn around<'a>(front: &'a Front, centre: u64, window: &Window) -> Option<&'a [f32]> {
    front.slow.slice(centre.checked_sub(window.length() as u64 / 2)?, window.length())
}
