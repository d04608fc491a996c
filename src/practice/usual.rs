//! Where a player usually lies against the beat: laid back is a style, so what counts is counted from there. A row is written as its bend ends and
//! stands, so the first three, of which nothing usual is known yet, are counted from the beat itself.

use crate::grading::Attempt;
use crate::notes::statistics::median;
use std::collections::VecDeque;

/// So many attempts say where a player usually lies against the beat.
const OF: usize = 8;
/// Fewer say nothing.
const FROM: usize = 3;
/// Farther off is no style, ms.
pub const MOST_MS: f64 = 60.0;

/// The errors of late.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Usual {
    errors_ms: VecDeque<f64>,
}

impl Usual {
    /// One attempt more, in order; one that no beat was wanted of says nothing.
    pub fn learn(&mut self, attempt: &Attempt) {
        if let Some(error) = attempt.measures.late_ms() {
            if self.errors_ms.len() == OF {
                self.errors_ms.pop_front();
            }
            self.errors_ms.push_back(error);
        }
    }

    /// Their middle in ms, late is positive; 0 while it is not known.
    #[must_use]
    pub fn late_ms(&self) -> f64 {
        let errors: Vec<f64> = self.errors_ms.iter().copied().collect();
        let usual = if errors.len() < FROM { None } else { median(&errors) };
        usual.unwrap_or(0.0).clamp(-MOST_MS, MOST_MS)
    }
}
