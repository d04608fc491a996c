//! Time against the beat: where the player lies on average, which is a style, and how widely it scatters, which is the fault.

use crate::practice::usual::MOST_MS;
use crate::units::signed;

/// Scatter under which time is steady, ms: within this a note counts as on time (50 ms is the convention for onsets and 70 ms for beats,
/// Böck et al., ISMIR 2012, and Davies et al., 2009, from memory; a bend's arrival is softer than a stroke).
const STEADY_MS: f64 = 30.0;

/// Fewer notes say nothing about scatter.
const FEWEST: usize = 4;

/// Mean and spread of errors against the beat.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Timing {
    /// Notes counted.
    pub notes: usize,
    /// Mean error in ms; late is positive: laid back.
    pub mean_ms: f64,
    /// Standard deviation of a sample in ms; `None` for fewer than four notes.
    pub spread_ms: Option<f64>,
}

impl Timing {
    /// Of errors in ms; `None` of none.
    #[must_use]
    pub fn of(errors_ms: &[f64]) -> Option<Self> {
        let n = errors_ms.len();
        if n == 0 {
            return None;
        }
        let mean_ms = errors_ms.iter().sum::<f64>() / n as f64;
        let variance = errors_ms.iter().map(|error| (error - mean_ms).powi(2)).sum::<f64>() / (n.max(2) - 1) as f64;
        Some(Self { notes: n, mean_ms, spread_ms: (n >= FEWEST).then(|| variance.sqrt()) })
    }

    /// Where the player lies, in words: no praise, no blame, as long as it is a style.
    #[must_use]
    pub fn style(&self) -> &'static str {
        match self.mean_ms {
            late if late > MOST_MS => "too late for a style",
            early if early < -MOST_MS => "too early for a style",
            late if late > 10.0 => "laid back",
            early if early < -10.0 => "ahead of the beat",
            _ => "on the beat",
        }
    }

    /// Both in one clause: `+12 ms on average from the nearest eighth, laid back; spread 20 ms, steady`. `from` is what each was measured from.
    #[must_use]
    pub fn words(&self, from: &str, tolerance_ms: f64) -> String {
        let mean = signed(self.mean_ms, 0);
        let spread = self.spread_ms.zip(self.steadiness(tolerance_ms));
        let spread = spread.map(|(spread, word)| format!("; spread {spread:.0} ms, {word}")).unwrap_or_default();
        format!("{mean} ms on average from {from}, {}{spread}", self.style())
    }

    /// How the scatter is, against the tolerance of a single note in ms.
    #[must_use]
    pub fn steadiness(&self, tolerance_ms: f64) -> Option<&'static str> {
        Some(match self.spread_ms? {
            spread if spread <= STEADY_MS.min(tolerance_ms) => "steady",
            spread if spread <= tolerance_ms => "wide",
            _ => "unsteady",
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn laid_back_and_steady_is_a_style() {
        let timing = Timing::of(&[38.0, 42.0, 41.0, 39.0]).unwrap();
        assert!((timing.mean_ms - 40.0).abs() < 1e-9);
        assert!((timing.spread_ms.unwrap() - 1.825_741_858).abs() < 1e-6, "numpy.std([38, 42, 41, 39], ddof=1)");
        assert_eq!((timing.style(), timing.steadiness(60.0)), ("laid back", Some("steady")));
        let words = timing.words("the nearest eighth", 60.0);
        assert_eq!(words, "+40 ms on average from the nearest eighth, laid back; spread 2 ms, steady");
    }

    #[test]
    fn what_is_farther_off_than_is_taken_out_of_the_score_is_no_style() {
        assert_eq!(Timing::of(&[205.0; 4]).unwrap().style(), "too late for a style");
        assert_eq!(Timing::of(&[-61.0; 4]).unwrap().style(), "too early for a style");
        assert_eq!(Timing::of(&[60.0; 4]).unwrap().style(), "laid back");
    }

    #[test]
    fn on_average_on_the_beat_and_all_over_the_place_is_unsteady() {
        let timing = Timing::of(&[-90.0, 90.0, -80.0, 80.0]).unwrap();
        assert_eq!((timing.style(), timing.steadiness(60.0)), ("on the beat", Some("unsteady")));
        assert_eq!(Timing::of(&[5.0]).unwrap().spread_ms, None);
        assert_eq!(Timing::of(&[]), None);
    }
}
