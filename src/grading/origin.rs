//! `origin_error_cents`, `bend_start_s`: where the bend comes from.

use crate::notes::statistics::median;
use crate::notes::{Bend, Shape};

/// The contract's band around a settled pitch, cents.
pub(super) const BAND_CENTS: f64 = 10.0;

/// A steady part shorter than this says no origin, ms.
const LEAST_STEADY_MS: f64 = 40.0;

/// The lowest pitch after the attack stands for the origin when it is this near to it, cents.
const LOWEST_NEAR_CENTS: f64 = 35.0;

/// The pitch before a bend.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Before {
    /// The played origin: the median of the steady part; `None` under 40 ms of it.
    pub origin: Option<f64>,
    /// The lowest pitch between the attack and the rise.
    pub lowest: f64,
    /// Position of the bend's start in hops.
    pub start: f64,
}

/// The last position at or before `from` at which `curve` is on the near side of `level`: `rising` curves are under it. Interpolated;
/// `least` where it never is.
pub(super) fn last_before(curve: &[f64], from: usize, least: usize, level: f64, rising: bool) -> f64 {
    let beyond = |i: usize| if rising { curve[i] > level } else { curve[i] < level };
    let mut i = from.min(curve.len() - 1);
    while i > least && beyond(i) {
        i -= 1;
    }
    if i == from || beyond(i) {
        return i as f64;
    }
    let (here, next) = (curve[i], curve[i + 1]);
    i as f64 + (level - here) / (next - here)
}

/// A curve has left its level when it is farther from it than this and does not come back: its noise does not reach there.
pub(super) fn leaving_cents(shape: &Shape) -> f64 {
    (2.0 * shape.noise).clamp(2.0, 6.0)
}

/// Origin and start of a bend with a rise: the median from 30 ms after the attack (or from the landing before it) to the bend's
/// start; the start is the last instant within 10 cents of it. The two lean on each other and are found by turns.
/// `origin` is the wanted (or nearest) origin, for where there is no steady part.
pub(super) fn before(shape: &Shape, bend: &Bend, attack: usize, origin: Option<f64>) -> Option<Before> {
    let rise = bend.rise.clone()?;
    let stay = bend.before.clone()?;
    let calm = shape.without_vibrato();
    let (bottom, top) = (calm[rise.start], calm[rise.end - 1]);
    let half_way = rise.clone().find(|&i| calm[i] > f64::midpoint(bottom, top)).unwrap_or(rise.end - 1);
    // A slow rise may be counted from before the pitch settled: what counts then is whether it stays for a while all the same.
    let a_while = stay.start + shape.hops(LEAST_STEADY_MS);
    let stays = a_while < half_way && (calm[a_while] - calm[stay.start]).abs() <= BAND_CENTS;
    let mut start = if stays { rise.start.max(a_while) } else { rise.start } as f64;
    let mut level = None;
    let leaving = leaving_cents(shape);
    for _ in 0..4 {
        // The slow beginning of the rise is no part of the level that it leaves.
        let until = level.map_or(start, |level| last_before(&calm, half_way, stay.start, level + leaving, true));
        let until = (until.floor() as usize + 1).clamp(stay.start.min(half_way), half_way);
        level = median(&calm[stay.start.min(until)..until]);
        let Some(level) = level else { break };
        start = last_before(&calm, half_way, stay.start, level + BAND_CENTS, true);
    }
    level = level.filter(|_| (start - stay.start as f64) * shape.hop_ms >= LEAST_STEADY_MS);
    let lowest = calm[attack.min(half_way)..=half_way].iter().copied().fold(f64::INFINITY, f64::min);
    if level.is_none() {
        let near = origin.unwrap_or_else(|| 100.0 * (lowest / 100.0).round());
        let from = if (lowest - near).abs() <= LOWEST_NEAR_CENTS { lowest } else { near };
        start = last_before(&calm, half_way, attack.min(half_way), from + BAND_CENTS, true);
    }
    Some(Before { origin: level, lowest, start })
}
