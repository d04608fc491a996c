//! The figures under a verdict: three at most, the ones that say most about what was played.

use crate::grading::{Attempt, Verdict, Word};

/// Figures at most.
pub const MOST: usize = 3;

/// A signed number of cents, in whole cents: finer than a tenth of what a finger can do is noise.
#[must_use]
pub fn signed(cents: f64) -> String {
    let whole = cents.round() as i64;
    if whole == 0 { "0".to_owned() } else { format!("{whole:+}") }
}

/// The figures of a row, each with its word and unit.
#[must_use]
pub fn of(row: &Attempt) -> Vec<String> {
    let m = &row.measures;
    let held = match (m.hold_error_cents, m.hold_s) {
        (Some(error), Some(long)) => Some(format!("held {} c for {long:.1} s", signed(error))),
        (None, Some(long)) => Some(format!("held for {long:.1} s")),
        _ => None,
    };
    let overshoot = m.overshoot_cents.filter(|&over| over > 2.0 * row.tolerance_cents).map(|over| format!("shot over by {over:.0} c"));
    let drift = m.hold_drift_cents_per_s.filter(|drift| drift.abs() > 10.0).map(|drift| format!("drifts {} c a second", signed(drift)));
    let shake = match (m.vibrato_extent_cents, m.vibrato_rate_hz) {
        (Some(wide), Some(rate)) => Some(format!("shake {wide:.0} c at {rate:.1} Hz")),
        _ => None,
    };
    let home = m.release_error_cents.map(|error| format!("home {} c", signed(error)));
    let rise = m.rise_ms.map(|rise| format!("up in {rise:.0} ms"));
    [held, overshoot, home, shake, drift, rise].into_iter().flatten().take(MOST).collect()
}

/// The words on a row: the bend's, and the release's where that was off.
#[must_use]
pub fn words(row: &Attempt) -> String {
    let verdict = Verdict::of(row);
    let bend = verdict.hold.or(verdict.arrival);
    let home = verdict.release.filter(|word| *word != Word::Landed).map(|word| format!("home {word}"));
    let words: Vec<String> = bend.map(|word| word.to_string()).into_iter().chain(home).collect();
    if words.is_empty() { "not graded".to_owned() } else { words.join(", ") }
}
