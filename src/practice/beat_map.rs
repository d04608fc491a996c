//! Beats of a tune or a drill against the seconds of a take.
//!
//! Conventions. Score time is seconds from the first beat as the tempo has it, count-in before 0. Take time is seconds from the take's first
//! sample. A click that is played through a card is heard on the input's clock, which drifts against the output's: then each beat has the
//! instant of the take at which it was measured. Between beats score time runs on from the last one that was heard before, never towards one
//! that comes later: so a bend that is graded while the tune goes on gets the same numbers as the same bend graded from the saved take. What that costs is the
//! drift of one beat: 0.2 ms for two clocks that are 200 ppm apart and a beat of a second.

/// Where score time lies in a take.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct BeatMap {
    /// Score time and take time of each beat known, both rising.
    known: Vec<(f64, f64)>,
}

impl BeatMap {
    /// The first beat at `start_s` of the take, and no drift: a file, the synthesiser, one clock for both ways.
    #[must_use]
    pub fn straight(start_s: f64) -> Self {
        Self { known: vec![(0.0, start_s)] }
    }

    /// From the score times of the beats and the instants of the take at which they were heard, in order; the shorter list counts. What is no
    /// number or does not rise is left out.
    #[must_use]
    pub fn measured(score_s: impl IntoIterator<Item = f64>, take_s: impl IntoIterator<Item = f64>) -> Self {
        let mut map = Self::default();
        for (score_s, take_s) in score_s.into_iter().zip(take_s) {
            map.heard(score_s, take_s);
        }
        map
    }

    /// Another beat was heard.
    pub fn heard(&mut self, score_s: f64, take_s: f64) {
        let rises = self.known.last().is_none_or(|(score, take)| score_s > *score && take_s > *take);
        if rises && score_s.is_finite() && take_s.is_finite() {
            self.known.push((score_s, take_s));
        }
    }

    /// Whether any beat is known: without one, nothing can be said.
    #[must_use]
    pub fn is_known(&self) -> bool {
        !self.known.is_empty()
    }

    /// Score time at an instant of the take; `None` while no beat is known.
    #[must_use]
    pub fn score_of(&self, take_s: f64) -> Option<f64> {
        let (score, take) = self.last_before(|(_, take)| *take <= take_s)?;
        Some(score + (take_s - take))
    }

    /// The instant of the take at which a score time is heard; `None` while no beat is known.
    #[must_use]
    pub fn take_of(&self, score_s: f64) -> Option<f64> {
        let (score, take) = self.last_before(|(score, _)| *score <= score_s)?;
        Some(take + (score_s - score))
    }

    /// The last known beat that is early enough; before all of them, the first.
    fn last_before(&self, early: impl Fn(&(f64, f64)) -> bool) -> Option<(f64, f64)> {
        let after = self.known.partition_point(early);
        self.known.get(after.saturating_sub(1)).copied()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_straight_map_moves_by_its_start() {
        let map = BeatMap::straight(2.5);
        assert_eq!(map.score_of(4.0), Some(1.5));
        assert_eq!(map.score_of(1.0), Some(-1.5));
        assert_eq!(map.take_of(1.5), Some(4.0));
        assert_eq!(BeatMap::default().score_of(1.0), None);
    }

    #[test]
    fn clocks_that_are_200_ppm_apart_cost_a_fifth_of_a_millisecond_and_never_more() {
        let drift = 1.0002;
        let map = BeatMap::measured((0..600).map(f64::from), (0..600).map(|beat| 3.0 + f64::from(beat) * drift));
        for step in 0..5999 {
            let true_score = f64::from(step) / 10.0;
            let score = map.score_of(3.0 + true_score * drift).unwrap();
            assert!((score - true_score).abs() < 0.000_201, "{score} at {true_score}");
        }
    }

    #[test]
    fn a_beat_that_is_heard_later_changes_nothing_before_it() {
        let mut map = BeatMap::measured([0.0, 1.0], [0.5, 1.6]);
        let before = map.score_of(2.55);
        map.heard(2.0, 2.56);
        assert_eq!(map.score_of(2.55), before);
        map.heard(1.5, 3.0);
        map.heard(3.0, f64::NAN);
        assert_eq!(map.score_of(4.0), Some(2.0 + 4.0 - 2.56));
    }

    proptest! {
        #[test]
        fn there_and_back_is_the_same_instant_on_one_clock(start in 0.0..100.0, at in 0.0..1000.0) {
            let map = BeatMap::straight(start);
            prop_assert!((map.take_of(map.score_of(at).unwrap()).unwrap() - at).abs() < 1e-9);
        }
    }
}
