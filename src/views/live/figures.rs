//! The figures under a verdict: three at most, the ones that say most about what was played.

use crate::grading::{Attempt, Fault, Verdict, Word, counted_error};
use crate::units::signed;

/// Figures at most.
pub const MOST: usize = 3;

/// Whole cents: finer than a tenth of what a finger can do is noise.
fn whole(cents: f64) -> String {
    signed(cents, 0)
}

/// The figures of a row, each with its word and unit.
#[must_use]
pub fn of(row: &Attempt) -> Vec<String> {
    let m = &row.measures;
    let (first, average) = (moved(row).unwrap_or_default(), if sank(row) { " on average" } else { "" });
    let held = match (m.hold_error_cents, m.hold_s) {
        (Some(error), Some(long)) => Some(format!("{first}held {} c{average} for {long:.1} s", whole(error))),
        (None, Some(long)) => Some(format!("held for {long:.1} s")),
        _ => None,
    };
    let overshoot = m.overshoot_cents.filter(|_| row.faults.contains(&Fault::Overshoot)).map(|over| format!("shot over by {over:.0} c"));
    let drift = m.hold_drift_cents_per_s.filter(|drift| drift.abs() > 10.0).map(|drift| format!("drifts {} c a second", whole(drift)));
    let shake = match (m.vibrato_extent_cents, m.vibrato_rate_hz) {
        (Some(wide), Some(rate)) => Some(format!("shake {wide:.0} c at {rate:.1} Hz")),
        _ => None,
    };
    // Home is the fret's own pitch, as the word on it has it.
    let home = m.release_error_cents.map(|error| format!("home {} c", whole(error - m.origin_error_cents.unwrap_or(0.0))));
    let rise = m.rise_ms.map(|rise| format!("up in {rise:.0} ms"));
    [held, overshoot, home, shake, drift, rise].into_iter().flatten().take(MOST).collect()
}

/// Whether a quarter tone was wanted, which ends at no note.
pub(super) fn is_curl(row: &Attempt) -> bool {
    row.bend_cents.is_some_and(|cents| (cents - 50.0).abs() < 1.0)
}

/// Whether the word on the bend is that it sank: then its hold is another figure on the whole than at its end.
fn sank(row: &Attempt) -> bool {
    matches!(Verdict::of(row).headline(), Some(Word::Fell(_)))
}

/// That the hold went on from where the bend first stopped, which the word on it is about.
fn moved(row: &Attempt) -> Option<&'static str> {
    let m = &row.measures;
    let counted = |error: f64| counted_error(row.bend_cents, error);
    let moved = counted(m.hold_error_cents?) - counted(m.reached_error_cents()?);
    let corrected = row.faults.contains(&Fault::Corrected);
    // A shake has a centre of its own.
    if sank(row) || m.vibrato_extent_cents.is_some() && !corrected || moved.abs() < row.tolerance_cents && !corrected {
        return None;
    }
    Some(if moved < 0.0 { "then came down, " } else { "then came up, " })
}

/// The words on a row: the bend's, and the release's where that was off.
#[must_use]
pub fn words(row: &Attempt) -> String {
    let verdict = Verdict::of(row);
    let bend = verdict.hold.or(verdict.arrival);
    let home = verdict.release.filter(|word| *word != Word::Landed).map(|word| format!("home {word}"));
    let bend = bend.map(|word| if sank(row) { format!("{word} by the end") } else { word.to_string() });
    let words: Vec<String> = bend.into_iter().chain(home).collect();
    if words.is_empty() { "not graded".to_owned() } else { words.join(", ") }
}
