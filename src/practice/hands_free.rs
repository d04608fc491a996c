//! Signs that a player gives on the guitar itself, between attempts: two even low open notes, or three even muted taps.
//!
//! Common practice, no source; our own signs: the two lowest strings are not bent in drills, and taps have no pitch.

/// What was signed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sign {
    /// The lowest string twice: the last step once more.
    Repeat,
    /// The string above it twice: on.
    Skip,
    /// Three muted taps: the end.
    End,
}

/// Two strokes of a sign follow each other within this, s.
const GAP_S: (f64, f64) = (0.18, 0.9);
/// A sign is over when nothing follows for so long, s.
const QUIET_S: f64 = 0.95;
/// Gaps are even within this share of their mean.
const EVEN: f64 = 0.2;
/// A stroke has its pitch within this, s, and keeps it for so long: what a muted tap seems to sound is gone at once.
const PITCH_S: (f64, f64) = (0.04, 0.17);
const KEPT_S: f64 = 0.05;
/// An open string is in tune enough to be known within this, cents.
const NEAR_CENTS: f64 = 60.0;

#[derive(Clone, Copy, Debug)]
struct Stroke {
    at_s: f64,
    /// What sounds since when and until when.
    sounds: Option<(f64, f64, f64)>,
}

impl Stroke {
    fn cents(&self) -> Option<f64> {
        self.sounds.filter(|(_, from_s, until_s)| until_s - from_s >= KEPT_S).map(|(cents, ..)| cents)
    }
}

/// Listens for signs.
#[derive(Clone, Debug)]
pub struct HandsFree {
    /// Pitches of the lowest string and of the one above it, open, cents on the MIDI scale.
    low: (f64, f64),
    strokes: Vec<Stroke>,
}

impl HandsFree {
    /// For strings that sound so when open, cents on the MIDI scale.
    #[must_use]
    pub fn new(lowest: f64, second: f64) -> Self {
        Self { low: (lowest, second), strokes: Vec::new() }
    }

    /// A stroke.
    pub fn stroke(&mut self, at_s: f64) {
        self.strokes.push(Stroke { at_s, sounds: None });
    }

    /// What sounds at an instant.
    pub fn pitch(&mut self, at_s: f64, cents: f64) {
        if let Some(stroke) = self.strokes.last_mut().filter(|stroke| (PITCH_S.0..PITCH_S.1).contains(&(at_s - stroke.at_s))) {
            let from_s = match stroke.sounds {
                Some((before, from_s, _)) if (cents - before).abs() <= NEAR_CENTS => from_s,
                // What lasted was the stroke's own, whatever comes after.
                Some(_) if stroke.cents().is_some() => return,
                _ => at_s,
            };
            stroke.sounds = Some((cents, from_s, at_s));
        }
    }

    /// The sign that is complete by now, told once.
    pub fn sign(&mut self, now_s: f64) -> Option<Sign> {
        let last = self.strokes.last()?;
        if now_s - last.at_s < QUIET_S {
            return None;
        }
        let strokes = std::mem::take(&mut self.strokes);
        let gaps: Vec<f64> = strokes.windows(2).map(|pair| pair[1].at_s - pair[0].at_s).collect();
        let mean = gaps.iter().sum::<f64>() / gaps.len().max(1) as f64;
        let even = gaps.iter().all(|gap| (GAP_S.0..=GAP_S.1).contains(gap) && (gap - mean).abs() <= EVEN * mean);
        let all_near = |pitch: f64| strokes.iter().all(|stroke| stroke.cents().is_some_and(|cents| (cents - pitch).abs() <= NEAR_CENTS));
        match strokes.len() {
            2 if even && all_near(self.low.0) => Some(Sign::Repeat),
            2 if even && all_near(self.low.1) => Some(Sign::Skip),
            3 if even && strokes.iter().all(|stroke| stroke.cents().is_none()) => Some(Sign::End),
            _ => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn signed(strokes: &[(f64, Option<f64>)]) -> Option<Sign> {
        let mut hands = HandsFree::new(4000.0, 4500.0);
        let mut signs = Vec::new();
        for (at_s, cents) in strokes {
            signs.extend(hands.sign(*at_s));
            hands.stroke(*at_s);
            if let Some(cents) = cents {
                hands.pitch(at_s + 0.06, *cents);
                hands.pitch(at_s + 0.15, *cents);
            }
        }
        signs.extend(hands.sign(100.0));
        signs.extend(hands.sign(200.0));
        assert!(signs.len() <= 1);
        signs.first().copied()
    }

    #[test]
    fn two_even_low_notes_and_three_even_taps_are_signs_and_nothing_else_is() {
        let low = Some(4008.0);
        assert_eq!(signed(&[(1.0, low), (1.5, low)]), Some(Sign::Repeat));
        assert_eq!(signed(&[(1.0, Some(4490.0)), (1.4, Some(4495.0))]), Some(Sign::Skip));
        assert_eq!(signed(&[(1.0, None), (1.4, None), (1.78, None)]), Some(Sign::End));
        let mut taps = HandsFree::new(4000.0, 4500.0);
        for at_s in [1.0, 1.4, 1.8] {
            taps.stroke(at_s);
            taps.pitch(at_s + 0.05, 8600.0);
            taps.pitch(at_s + 0.06, 7000.0);
            taps.pitch(at_s + 0.07, 7010.0);
        }
        assert_eq!(taps.sign(5.0), Some(Sign::End), "what a tap seems to sound is gone at once");
        assert_eq!(signed(&[(1.0, low)]), None);
        assert_eq!(signed(&[(1.0, low), (1.5, low), (2.0, low)]), None, "three low notes are a phrase");
        assert_eq!(signed(&[(1.0, None), (1.3, None), (2.1, None)]), None, "uneven taps");
        assert_eq!(signed(&[(1.0, None), (1.4, None)]), None);
        assert_eq!(signed(&[(1.0, Some(6700.0)), (1.5, Some(6700.0))]), None, "two notes of the melody");
        assert_eq!(signed(&[(1.0, low), (1.5, Some(4490.0))]), None);
    }
}
