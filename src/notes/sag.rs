//! A hold that sinks: a tired hand lets the string down slowly and evenly, which is no release.
//!
//! (Common practice, no source: a hand that tires sinks by 10 to 60 cents a second; the slowest release of the recorded takes falls by 250.)

use super::movement::Movement;
use super::shape::Shape;
use std::ops::Range;

/// A fall slower than this, cents a second, is a hand that tires, unless it comes home and stays there.
const FASTEST_CENTS_PER_S: f64 = 75.0;

/// Home is where the bend began, within this, cents, for at least so long, ms.
const HOME_CENTS: f64 = 40.0;
const HOME_STAY_MS: f64 = 100.0;

/// A hold sinks for this long at least before its knee, ms; the release behind it falls so many times as fast.
const LEAST_MS: f64 = 120.0;
const RELEASE_FACTOR: f64 = 3.0;

/// Whether a fall of a bend that began at `from` cents is a hold that sinks. `after` is the next movement, `end` one behind the note's last point.
pub(super) fn is_sag(shape: &Shape, from: f64, fall: &Movement, after: Option<&Movement>, end: usize) -> bool {
    let ms = |from: usize, to: usize| to.saturating_sub(from) as f64 * shape.hop_ms;
    let speed = (fall.from_cents - fall.to_cents) / (ms(fall.span.start, fall.span.end) / 1000.0);
    let stay = ms(fall.span.end, after.map_or(end, |next| next.span.start));
    let comes_home = (fall.to_cents - from).abs() <= HOME_CENTS && stay >= HOME_STAY_MS;
    speed < FASTEST_CENTS_PER_S && !comes_home
}

/// Where a fall begins that follows a hold that sinks: at the knee, behind which a slow even line becomes much steeper. The run's own start
/// where there is no knee.
pub(super) fn behind_the_sag(curve: &[f64], run: &Range<usize>, hop_ms: f64, noise: f64) -> usize {
    let least = (LEAST_MS / hop_ms).round() as usize;
    let slack = (3.0 * noise).clamp(2.0, 5.0);
    let per_s = |from: usize, to: usize| (curve[from] - curve[to]) / ((to - from) as f64 * hop_ms / 1000.0);
    let is_line = |to: usize| {
        let (from, slope) = (run.start, (curve[to] - curve[run.start]) / (to - run.start) as f64);
        (from..to).all(|i| (curve[i] - curve[from] - slope * (i - from) as f64).abs() <= slack)
    };
    // The farthest end of a line that is slow enough; behind it the fall goes on.
    let knee =
        (run.start + least..run.end.saturating_sub(2)).step_by(4).rfind(|&to| per_s(run.start, to) < FASTEST_CENTS_PER_S && is_line(to));
    knee.filter(|&knee| per_s(knee, run.end - 1) > RELEASE_FACTOR * per_s(run.start, knee)).unwrap_or(run.start)
}
