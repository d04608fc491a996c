//! `score`: one number from 0 to 100, by parts.
//!
//! Each part that was asked for has an error in units of what is still right, `x`, and counts `g(x) = 1 / (1 + (x/2)^2)`: 80 % at
//! the tolerance, 50 % at twice. The score is their weighted geometric mean, `100 * Π g(x_i)^(w_i / Σ w)`: a product, so that a good
//! hold cannot hide a wrong note. A part that was asked for and is absent counts 0.05; what was not asked for does not count. In each
//! error the score only falls. (Common practice, no source: the weights and levels are our own.)

/// What is left for a part that is absent.
const ABSENT: f64 = 0.05;

/// How well one part came out: `None` is absent.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Part {
    /// Weight, above 0.
    pub weight: f64,
    /// Error over tolerance, 0 or more; `None` where what was asked for is absent.
    pub error: Option<f64>,
}

/// One part's share, 1 for no error.
fn share(error: Option<f64>) -> f64 {
    error.map_or(ABSENT, |x| (1.0 / (1.0 + (x / 2.0).powi(2))).max(ABSENT))
}

/// The score of all parts; `None` where nothing was asked for.
pub(super) fn score(parts: &[Part]) -> Option<f64> {
    let total: f64 = parts.iter().map(|part| part.weight).sum();
    if total <= 0.0 {
        return None;
    }
    let log: f64 = parts.iter().map(|part| part.weight / total * share(part.error).ln()).sum();
    Some(100.0 * log.exp())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_perfect_attempt_scores_100() {
        assert!((score(&[Part { weight: 4.0, error: Some(0.0) }]).unwrap() - 100.0).abs() < 1e-9);
    }

    #[test]
    fn at_the_tolerance_a_part_counts_80_and_at_twice_50() {
        assert!((score(&[Part { weight: 1.0, error: Some(1.0) }]).unwrap() - 80.0).abs() < 1e-9);
        assert!((score(&[Part { weight: 1.0, error: Some(2.0) }]).unwrap() - 50.0).abs() < 1e-9);
    }

    #[test]
    fn without_anything_asked_for_there_is_no_score() {
        assert_eq!(score(&[]), None);
    }

    proptest! {
        #[test]
        fn the_score_never_rises_with_an_error(
            errors in proptest::collection::vec((0.1..5.0, 0.0..30.0), 1..8),
            which in 0usize..8,
            more in 0.0..10.0,
        ) {
            let parts: Vec<Part> = errors.iter().map(|&(weight, error)| Part { weight, error: Some(error) }).collect();
            let mut worse = parts.clone();
            let which = which % worse.len();
            worse[which].error = worse[which].error.map(|x| x + more);
            let mut absent = parts.clone();
            absent[which].error = None;
            prop_assert!(score(&worse).unwrap() <= score(&parts).unwrap() + 1e-9);
            prop_assert!(score(&absent).unwrap() <= score(&worse).unwrap() + 1e-9);
        }
    }
}
