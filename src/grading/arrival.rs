//! `arrival_s`, `arrival_error_cents`, `overshoot_cents`: how the bend gets there.

use super::origin::BAND_CENTS;
use crate::notes::statistics::{median, slope, spread_around_line};
use crate::notes::{Bend, Shape, Vibrato};

/// The pitch must stay this long in the band to have arrived, ms.
const STAY_MS: f64 = 50.0;

/// What counts as the beginning of the hold, ms.
const EARLY_MS: f64 = 150.0;

/// Straight for this long before a shake, a hold has an early pitch of its own, ms.
const STRAIGHT_MS: f64 = 40.0;

/// After this long a new excursion is no part of the arrival, ms.
const SAME_MOVEMENT_MS: f64 = 250.0;

/// Arrival and settled pitch are found by turns; a turn that moves the arrival by more than this is not followed, ms.
const RUNAWAY_MS: f64 = 30.0;

/// How a bend got to its hold.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Arrival {
    /// Position in hops.
    pub at: f64,
    /// Settled pitch in the first 150 ms after it.
    pub level: f64,
    /// First touch of the band, hops: from there to `at` it was settling.
    pub touched: f64,
    /// The top was only touched: under 50 ms within 10 cents of it. Then the hold ends here, in hops.
    pub touched_until: Option<f64>,
}

/// The arrival of a bend with a rise: the settled pitch of the first 150 ms after it and the first instant within 10 cents of that pitch
/// to stay, found by turns. `start` is the bend's start in hops.
pub(super) fn arrival(shape: &Shape, bend: &Bend, start: f64, vibrato: Option<&Vibrato>) -> Option<Arrival> {
    let rise = bend.rise.clone()?;
    let curve = shape.without_vibrato();
    let end = bend.hold.end.min(bend.first_stop_end).max(rise.end);
    let from = start.max(0.0).floor() as usize;
    if let Some(touched) = touched_top(shape, &curve, bend, from) {
        return Some(touched);
    }
    // Before a vibrato there may be a straight part: then the early pitch is that of the straight part alone.
    let straight_end = vibrato.map_or(end, |v| v.span.start.min(end));
    // From behind a possible overshoot: a level that its top has pulled up would call the top the arrival.
    // Of a shaken hold, the last of its straight part.
    let straight = straight_end.saturating_sub(if vibrato.is_some() { shape.hops(STRAIGHT_MS) } else { 1 });
    let mut at = (bend.hold.start + shape.hops(EARLY_MS)).min(straight.max(bend.hold.start)) as f64;
    let mut level = curve[bend.hold.start.min(curve.len() - 1)];
    let mut touched = at;
    for round in 0..3 {
        let first = (at.ceil() as usize).min(end - 1);
        let straight = straight_end.saturating_sub(first);
        let reach = if straight as f64 * shape.hop_ms >= STRAIGHT_MS { straight_end } else { end };
        let early = first..(first + shape.hops(EARLY_MS).max(1)).min(reach).max(first + 1);
        level = median(&curve[early])?;
        let settled = settle(shape, &curve, from, end, level);
        // The two lean on each other; where they run away (a slow way back from a small overshoot) the first answer stands.
        if round > 0 && (settled.1 - at).abs() * shape.hop_ms > RUNAWAY_MS {
            break;
        }
        (touched, at) = settled;
    }
    Some(Arrival { at, level, touched, touched_until: None })
}

/// First touch of the band around `level` after `from`, and the instant from which the curve stays in it.
fn settle(shape: &Shape, curve: &[f64], from: usize, end: usize, level: f64) -> (f64, f64) {
    let inside = |i: usize| (curve[i] - level).abs() <= BAND_CENTS;
    let stay = shape.hops(STAY_MS).max(1);
    let again = shape.hops(SAME_MOVEMENT_MS);
    let mut touched = None;
    let mut arrived: Option<usize> = None;
    let mut i = from;
    while i < end {
        if !inside(i) {
            i += 1;
            continue;
        }
        let out = (i..end).find(|&j| !inside(j)).unwrap_or(end);
        touched.get_or_insert(i);
        match arrived {
            None if out - i >= stay || out == end => arrived = Some(i),
            // Left again in the same movement, over the top: it arrives when it comes back.
            Some(first) if i - first <= again && (out - i >= stay || out == end) && over_between(curve, first, i, level) => {
                arrived = Some(i);
            }
            _ => {}
        }
        i = out;
    }
    let cross = |k: usize| {
        if k == 0 || inside(k - 1) {
            return k as f64;
        }
        let edge = if curve[k - 1] < level { level - BAND_CENTS } else { level + BAND_CENTS };
        (k - 1) as f64 + (edge - curve[k - 1]) / (curve[k] - curve[k - 1])
    };
    let arrived = arrived.or(touched).unwrap_or(end.saturating_sub(1));
    (cross(touched.unwrap_or(arrived)), cross(arrived))
}

fn over_between(curve: &[f64], from: usize, to: usize, level: f64) -> bool {
    curve[from..to].iter().any(|cents| *cents > level + BAND_CENTS)
}

/// A top that is left again within 50 ms: its height stands for the settled pitch.
fn touched_top(shape: &Shape, curve: &[f64], bend: &Bend, from: usize) -> Option<Arrival> {
    let release = bend.release.as_ref()?;
    let stayed_ms = release.start.saturating_sub(bend.hold.start) as f64 * shape.hop_ms;
    if bend.corrected || stayed_ms > 3.0 * STAY_MS {
        return None;
    }
    let span = from..release.end.min(curve.len());
    let top_at = span.clone().max_by(|&a, &b| curve[a].total_cmp(&curve[b]))?;
    let top = curve[top_at];
    let near = |i: usize| curve[i] >= top - BAND_CENTS;
    let first = (span.start..=top_at).rev().take_while(|&i| near(i)).last()?;
    let last = (top_at..span.end).take_while(|&i| near(i)).last()?;
    let cross_up = if first == 0 || near(first - 1) { first as f64 } else { crossing(curve, first - 1, top - BAND_CENTS) };
    let cross_down = if last + 1 >= curve.len() { last as f64 } else { crossing(curve, last, top - BAND_CENTS) };
    // What follows an overshoot is the hold, not a fall from a touched top.
    let falls_at_once = release.start <= last + shape.hops(20.0);
    (falls_at_once && (cross_down - cross_up) * shape.hop_ms < STAY_MS).then_some(Arrival {
        at: cross_up,
        level: top,
        touched: cross_up,
        touched_until: Some(cross_down),
    })
}

/// Where the curve passes `level` between `i` and `i + 1`.
pub(super) fn crossing(curve: &[f64], i: usize, level: f64) -> f64 {
    let (here, next) = (curve[i], curve[i + 1]);
    if (next - here).abs() < 1e-12 { i as f64 } else { i as f64 + ((level - here) / (next - here)).clamp(0.0, 1.0) }
}

/// `overshoot_cents`: the highest pitch from the bend's start to 250 ms after the arrival (vibrato taken out, and not beyond the
/// first stop or the release), over the settled pitch of the hold after it; 0 when it does not go above. `end` is where the hold ends.
pub(super) fn overshoot(shape: &Shape, bend: &Bend, start: f64, arrival: &Arrival, vibrato: Option<&Vibrato>, end: f64) -> f64 {
    if arrival.touched_until.is_some() {
        return 0.0;
    }
    let calm = shape.without_vibrato();
    let from = start.max(0.0).floor() as usize;
    let stop = bend.hold.end.min(bend.first_stop_end).min(end.ceil() as usize + 1);
    let stop = vibrato.map_or(stop, |v| stop.min(v.span.start)).max(from + 1).min(calm.len());
    let arrived = arrival.at.ceil() as usize;
    let until = (arrived + shape.hops(SAME_MOVEMENT_MS)).min(stop);
    let span = from.min(until - 1)..until;
    let top_at = span.clone().max_by(|&a, &b| calm[a].total_cmp(&calm[b])).unwrap_or(span.start);
    let highest = calm[top_at];
    // The settled pitch: the hold behind its first 150 ms, drawn back to the arrival along its own slope, since a hold may sag; of a
    // shorter one, what is left behind its top: the way up to it is no part of what it came back to.
    let later = &calm[(arrived + shape.hops(EARLY_MS)).min(stop)..stop];
    let behind = &calm[(top_at + shape.hops(30.0)).min(stop)..stop];
    let settled = match (slope(later), median(later)) {
        (Some(slope), Some(middle)) if later.len() as f64 * shape.hop_ms >= EARLY_MS => {
            middle - slope * (later.len() as f64 / 2.0 + shape.hops(EARLY_MS) as f64)
        }
        _ if behind.len() as f64 * shape.hop_ms >= STAY_MS => median(behind).unwrap_or(arrival.level),
        _ => return 0.0,
    };
    let over = highest - settled;
    // A top that the hold's own unrest makes is none.
    let unrest = spread_around_line(later).unwrap_or(0.0).max(shape.noise);
    // A corner that is seen through the tracker's window stands out for as long as half of that window; a hand takes longer to come back.
    let half = f64::midpoint(highest, settled);
    let back_ms = calm[top_at..stop].iter().take_while(|cents| **cents > half).count() as f64 * shape.hop_ms;
    let way_back = shape.curve[top_at..stop].iter().copied().take_while(|cents| *cents > settled + over / 4.0);
    let scatter = UNREST_TOP * unrest;
    let stands_clear = over > LEAST_TOP_CENTS.max(scatter).max(RIPPLE_TOP * ripple(way_back)) && back_ms >= LEAST_BACK_MS;
    if stands_clear { over } else { 0.0 }
}

/// The farthest that a way down climbs again, cents.
fn ripple(way_down: impl Iterator<Item = f64>) -> f64 {
    let mut lowest = f64::INFINITY;
    way_down.fold(0.0, |most: f64, cents| {
        lowest = lowest.min(cents);
        most.max(cents - lowest)
    })
}

/// A hand comes back in one way: where the way back climbs again by a fifth of the top's height, it is another sound that beats.
const RIPPLE_TOP: f64 = 5.0;

/// The settled pitch that a top is measured from is itself no surer than this, cents: a slope drawn back over a quarter of a second.
const LEAST_TOP_CENTS: f64 = 1.5;

/// A top stands this many standard deviations of the hold's unrest out: one reading in four thousand of an even scatter does; the slow beats of
/// a backing reach three.
const UNREST_TOP: f64 = 3.5;

/// From the top half of the way back takes this long at least, ms: the tracker's window is 14 ms to either side, and twice that as long for low notes.
const LEAST_BACK_MS: f64 = 24.0;
