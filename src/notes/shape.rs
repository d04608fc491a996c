//! What a note's pitch does: its rises and falls, and the stays and vibratos between them.

use super::beats::{bridge_spikes, calm_beats};
use super::clean::{clean, smooth};
use super::contour::Contour;
use super::movement::{Movement, MovementKind};
use super::sag::behind_the_sag;
use super::statistics::{noise, slope};
use super::stops::{drop_small_ends, join_without_stop};
use super::vibrato::{Vibrato, turns, vibratos};
use std::ops::Range;

/// A move of under 25 cents is neither a bend nor a release.
pub const LEAST_MOVE_CENTS: f64 = 25.0;

/// Slower than this is a drift (a hand that tires sags by up to 30 cents a second), unless it climbs far.
const LEAST_SPEED_CENTS_PER_S: f64 = 36.0;

/// And so slow on the whole, pauses included, is a drift too.
const LEAST_MEAN_SPEED_CENTS_PER_S: f64 = 25.0;

/// No hold drifts up by so much: it is a bend that is drawn out, as far down as these speeds, cents and cents a second. What a climb that is no quicker than
/// this goes on by, belongs to it sooner.
const FARTHEST_DRIFT_CENTS: f64 = 40.0;
const DRAWN_OUT_CENTS_PER_S: f64 = 100.0;
const FARTHEST_CREEP_CENTS: f64 = 12.0;
const SLOWEST: Speeds = Speeds { least: SLOWEST_CLIMB_CENTS_PER_S, mean: 8.0, half_ms: 120.0 };

/// A climb slower than this is a drift, however far it goes, cents a second: under the 10 at which a hold counts as unsteady.
pub const SLOWEST_CLIMB_CENTS_PER_S: f64 = 9.0;

/// Legs shorter than this are one movement: there is no room for a stop in them.
const SHORT_LEG_MS: f64 = 110.0;

/// A note's pitch as a clean curve, and what it does.
#[derive(Clone, Debug, PartialEq)]
pub struct Shape {
    /// Pitch without holes and slips, cents, one a hop.
    pub curve: Vec<f64>,
    /// The same with its noise smoothed, corners kept.
    pub smooth: Vec<f64>,
    /// Noise of `curve`, cents.
    pub noise: f64,
    /// Rises and falls of 25 cents and more, in order.
    pub moves: Vec<Movement>,
    /// Vibratos, in order.
    pub vibratos: Vec<Vibrato>,
    /// Milliseconds a hop.
    pub hop_ms: f64,
}

impl Shape {
    /// The shape of a contour; `None` where it has no pitch at all.
    #[must_use]
    pub fn of(contour: &Contour) -> Option<Self> {
        let hop_ms = 1000.0 * contour.hop_s();
        let curve = clean(contour.cents(), hop_ms);
        Self::of_curve(curve, hop_ms)
    }

    /// The shape of a curve without holes, `hop_ms` from point to point.
    #[must_use]
    pub fn of_curve(curve: Vec<f64>, hop_ms: f64) -> Option<Self> {
        if !curve.iter().all(|c| c.is_finite()) || curve.is_empty() {
            return None;
        }
        let mut curve = curve;
        calm_beats(&mut curve, hop_ms);
        bridge_spikes(&mut curve, hop_ms);
        let noise = noise(&curve);
        // 5 ms to each side keeps every corner; in noise 15 ms, which rounds a 10 cent corner by a few ms.
        let half_ms = if noise < 0.3 {
            5.5
        } else if noise < 1.2 {
            8.0
        } else {
            14.0
        };
        let smooth = smooth(&curve, (half_ms / hop_ms).round() as usize);
        let vibratos = vibratos(&smooth, hop_ms, noise);
        let moves = moves(&smooth, &vibratos, hop_ms, noise);
        Some(Self { curve, smooth, noise, moves, vibratos, hop_ms })
    }

    /// Hops in so many ms.
    #[must_use]
    pub fn hops(&self, milliseconds: f64) -> usize {
        (milliseconds / self.hop_ms).round() as usize
    }

    /// All movements in order, the stays between them included.
    #[must_use]
    pub fn movements(&self) -> Vec<Movement> {
        let mut marked: Vec<Movement> = self.moves.clone();
        marked.extend(self.vibratos.iter().map(|vibrato| Movement {
            kind: MovementKind::Vibrato,
            span: vibrato.span.clone(),
            from_cents: self.smooth[vibrato.span.start],
            to_cents: self.smooth[vibrato.span.end - 1],
        }));
        marked.sort_by_key(|movement| movement.span.start);
        let mut all = Vec::new();
        let mut at = 0;
        for movement in marked {
            self.stay(at..movement.span.start, &mut all);
            at = at.max(movement.span.end);
            all.push(movement);
        }
        self.stay(at..self.smooth.len(), &mut all);
        all
    }

    fn stay(&self, span: Range<usize>, into: &mut Vec<Movement>) {
        if span.len() > 1 {
            let (from_cents, to_cents) = (self.smooth[span.start], self.smooth[span.end - 1]);
            into.push(Movement { kind: MovementKind::Steady, span, from_cents, to_cents });
        }
    }

    /// The vibrato that overlaps a stretch the longest.
    #[must_use]
    pub fn vibrato_in(&self, span: &Range<usize>) -> Option<&Vibrato> {
        let overlap = |v: &Vibrato| v.full.end.min(span.end).saturating_sub(v.full.start.max(span.start));
        self.vibratos.iter().filter(|v| overlap(v) * 2 > v.full.len()).max_by_key(|v| overlap(v))
    }

    /// The curve with its vibratos taken out: in each, the mean over one cycle around each point, as wide as there is room; before
    /// and after it the curve as it is.
    #[must_use]
    pub fn without_vibrato(&self) -> Vec<f64> {
        let mut calm = self.smooth.clone();
        for vibrato in &self.vibratos {
            let period = 1000.0 / vibrato.rate_hz / self.hop_ms;
            let span = vibrato.span.clone();
            for i in span.clone() {
                // The mean over exactly one period, its ends weighted by their share; at the edges the nearest whole period.
                let half = period / 2.0;
                let centre = (i as f64).clamp(span.start as f64 + half, (span.end as f64 - 1.0 - half).max(span.start as f64 + half));
                calm[i] = mean_between(&self.smooth, centre - half, centre + half);
            }
        }
        calm
    }
}

/// The mean of a curve between two positions in hops, by trapezoids.
#[must_use]
pub fn mean_between(curve: &[f64], from: f64, to: f64) -> f64 {
    let last = (curve.len() - 1) as f64;
    let (from, to) = (from.clamp(0.0, last), to.clamp(0.0, last));
    let at = |x: f64| {
        let i = (x.floor() as usize).min(curve.len() - 1);
        let next = (i + 1).min(curve.len() - 1);
        curve[i] + (curve[next] - curve[i]) * (x - i as f64)
    };
    if to - from < 1e-9 {
        return at(from);
    }
    let (mut sum, mut x) = (0.0, from);
    while x < to {
        let next = (x.floor() + 1.0).min(to);
        sum += f64::midpoint(at(x), at(next)) * (next - x);
        x = next;
    }
    sum / (to - from)
}

/// All rises and falls of a smoothed curve outside its vibratos.
fn moves(curve: &[f64], vibratos: &[Vibrato], hop_ms: f64, noise: f64) -> Vec<Movement> {
    // Between vibratos the curve is looked at piece by piece, each with a swing's overlap: a release may begin in the last one.
    let mut pieces = Vec::new();
    let mut at = 0;
    for vibrato in vibratos {
        pieces.push(at..vibrato.span.start + 1);
        at = vibrato.span.end - 1;
    }
    pieces.push(at..curve.len());
    let mut found = Vec::new();
    for piece in pieces.into_iter().filter(|piece| piece.len() > 2) {
        for pair in turns(&curve[piece.clone()], LEAST_MOVE_CENTS).windows(2) {
            let leg = piece.start + pair[0].at..piece.start + pair[1].at + 1;
            found.extend(moves_of_leg(curve, leg, pair[1].is_top, hop_ms, noise));
        }
    }
    found
}

/// What makes a stretch of a leg a movement.
#[derive(Clone, Copy, Debug)]
struct Speeds {
    /// Faster than this at each point, cents a second.
    least: f64,
    /// And on the whole.
    mean: f64,
    /// Half the window that a point's speed is read in, ms.
    half_ms: f64,
}

/// A leg leads from one turn to the next; it may hold a drift beside its movement, or movements with stops between.
fn moves_of_leg(curve: &[f64], leg: Range<usize>, rises: bool, hop_ms: f64, noise: f64) -> Vec<Movement> {
    let movement = |span: Range<usize>| Movement {
        kind: if rises { MovementKind::Rise } else { MovementKind::Fall },
        from_cents: curve[span.start],
        to_cents: curve[span.end - 1],
        span,
    };
    let size = |span: &Range<usize>| (curve[span.end - 1] - curve[span.start]).abs();
    if leg.len() as f64 * hop_ms < SHORT_LEG_MS {
        return if size(&leg) >= LEAST_MOVE_CENTS { vec![movement(leg)] } else { Vec::new() };
    }
    // Wide enough that noise makes no slope: its deviation falls with the window's length to the power of 1.5.
    let half_ms = (20.0 + 16.0 * noise).min(50.0);
    let usual = Speeds { least: LEAST_SPEED_CENTS_PER_S, mean: LEAST_MEAN_SPEED_CENTS_PER_S, half_ms };
    let mut runs = runs(curve, &leg, rises, hop_ms, noise, usual);
    let moved: f64 = runs.iter().map(size).sum();
    let moving_s = runs.iter().map(Range::len).sum::<usize>() as f64 * hop_ms / 1000.0;
    let drawn_out = !runs.is_empty() && moved < DRAWN_OUT_CENTS_PER_S * moving_s;
    if rises && size(&leg) - moved >= if drawn_out { FARTHEST_CREEP_CENTS } else { FARTHEST_DRIFT_CENTS } {
        runs = self::runs(curve, &leg, rises, hop_ms, noise, SLOWEST);
    }
    runs.into_iter().map(movement).collect()
}

/// The stretches of a leg that are movements at these speeds.
fn runs(curve: &[f64], leg: &Range<usize>, rises: bool, hop_ms: f64, noise: f64, speeds: Speeds) -> Vec<Range<usize>> {
    let size = |span: &Range<usize>| (curve[span.end - 1] - curve[span.start]).abs();
    let half = ((speeds.half_ms / hop_ms).round() as usize).max(2);
    let sign = if rises { 1.0 } else { -1.0 };
    let fast: Vec<bool> = leg
        .clone()
        .map(|i| {
            let window = &curve[i.saturating_sub(half).max(leg.start)..(i + half + 1).min(leg.end)];
            let per_hop = slope(window).unwrap_or(0.0) * sign;
            per_hop / hop_ms * 1000.0 > speeds.least
        })
        .collect();
    let mut runs: Vec<Range<usize>> = Vec::new();
    let mut i = 0;
    while i < fast.len() {
        if fast[i] {
            let end = (i..fast.len()).find(|&j| !fast[j]).unwrap_or(fast.len());
            runs.push(leg.start + i..leg.start + end);
            i = end;
        }
        i += 1;
    }
    runs.retain(|run| size(run) >= (4.0 * noise).clamp(4.0, 12.0));
    if !rises {
        for run in &mut runs {
            run.start = behind_the_sag(curve, run, hop_ms, noise);
        }
    }
    drop_small_ends(curve, &mut runs, hop_ms);
    join_without_stop(curve, &mut runs, hop_ms);
    let speed = |run: &Range<usize>| size(run) / (run.len() as f64 * hop_ms / 1000.0);
    runs.retain(|run| size(run) >= LEAST_MOVE_CENTS && speed(run) >= speeds.mean);
    runs
}
