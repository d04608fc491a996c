//! Where a leg of the curve stops: what lies on both sides of a stop are two movements, what lies on both sides of a hesitation is one.

use super::statistics::median;
use std::ops::Range;

/// Staying this long within 10 cents is a stop, ms.
const STOP_MS: f64 = 50.0;

/// Less than this at either end of a leg, beyond a stop, is a glide or the next stroke in the window, not a part of the movement: cents, ms.
const SMALL_END_CENTS: f64 = 15.0;
const SMALL_END_MS: f64 = 120.0;

/// Takes such an end off.
pub(super) fn drop_small_ends(curve: &[f64], runs: &mut Vec<Range<usize>>, hop_ms: f64) {
    let ms = |run: &Range<usize>| run.len() as f64 * hop_ms;
    let is_small = |run: &Range<usize>| (curve[run.end - 1] - curve[run.start]).abs() < SMALL_END_CENTS && ms(run) < SMALL_END_MS;
    let stops = |before: &Range<usize>, after: &Range<usize>| ms(&(before.end..after.start.max(before.end))) >= STOP_MS;
    if runs.len() > 1 && is_small(&runs[0]) && stops(&runs[0], &runs[1]) {
        runs.remove(0);
    }
    let n = runs.len();
    if n > 1 && is_small(&runs[n - 1]) && stops(&runs[n - 2], &runs[n - 1]) {
        runs.pop();
    }
}

/// A pause in a movement is a stop only if it lasts 50 ms or more and two and a half times as long as the movement itself would need
/// to cross the 20 cents around it: a slow climb that hesitates has not stopped.
pub(super) fn join_without_stop(curve: &[f64], runs: &mut Vec<Range<usize>>, hop_ms: f64) {
    let mut k = 0;
    while k + 1 < runs.len() {
        let (before, after) = (runs[k].clone(), runs[k + 1].clone());
        let pause = before.end - 1..after.start + 1;
        let level = median(&curve[pause.clone()]).unwrap_or(curve[pause.start]);
        let near = |i: &usize| (curve[*i] - level).abs() <= 10.0;
        let dwell = (before.start..after.end).filter(near).count() as f64 * hop_ms;
        let moved = (curve[before.end - 1] - curve[before.start]).abs() + (curve[after.end - 1] - curve[after.start]).abs();
        let moving_ms = (before.len() + after.len()) as f64 * hop_ms;
        let crossing_ms = 20.0 * moving_ms / moved.max(1.0);
        if dwell < STOP_MS.max(2.5 * crossing_ms) {
            runs[k] = before.start..after.end;
            runs.remove(k + 1);
        } else {
            k += 1;
        }
    }
}
