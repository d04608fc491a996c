//! Vibrato: swings to and fro of alike width and length.
//!
//! Rates of 3 to 9 Hz and half widths of 5 to 100 cents are looked for (common practice; no published figures for electric
//! guitar). It is a vibrato from two full cycles on (a mean over fewer is off by up to `e (1 - cos 2πn) / 2πn`).

use super::statistics::{mean, median};
use std::ops::Range;

/// Half a cycle lasts this long, ms: 9 to 3 Hz, with some room for uneven hands.
const SWING_MS: Range<f64> = 48.0..190.0;

/// Peak to peak, cents.
const LEAST_SWING_CENTS: f64 = 8.0;

/// The outermost swings are no wider than so many times the usual one.
const END_FACTOR: f64 = 1.3;

/// Turns are first looked for at this swing, then at halves of it.
const WIDEST_LEAST_CENTS: f64 = 32.0;

/// Two humps wider than this are two bends, not two cycles.
const WIDE_SWING_CENTS: f64 = 110.0;

/// One vibrato.
#[derive(Clone, Debug, PartialEq)]
pub struct Vibrato {
    /// From the first turn to the last, in points of the contour.
    pub span: Range<usize>,
    /// The part at full width, whole cycles.
    pub full: Range<usize>,
    /// Cycles a second.
    pub rate_hz: f64,
    /// Half of the peak-to-peak width at full width, cents.
    pub extent_cents: f64,
    /// Mean over whole cycles at full width, cents on the MIDI scale.
    pub centre_cents: f64,
    /// Lowest point at full width, cents on the MIDI scale: the median of its troughs.
    pub low_cents: f64,
    /// Standard deviation of the swings in per cent of their mean.
    pub unevenness_pct: f64,
}

/// A turn of the curve.
#[derive(Clone, Copy, Debug)]
pub(super) struct Turn {
    pub at: usize,
    pub cents: f64,
    pub is_top: bool,
}

/// The curve's turns: between neighbours it moves by `least` cents or more. The first and the last are the ends of the curve's
/// outermost movements.
pub(super) fn turns(curve: &[f64], least: f64) -> Vec<Turn> {
    let mut found: Vec<Turn> = Vec::new();
    if curve.is_empty() {
        return found;
    }
    let (mut low, mut high) = (0, 0);
    for (i, &cents) in curve.iter().enumerate() {
        if cents < curve[low] {
            low = i;
        }
        if cents > curve[high] {
            high = i;
        }
        let rising = found.last().map(|turn| !turn.is_top);
        if rising != Some(true) && cents - curve[low] >= least {
            found.push(Turn { at: low, cents: curve[low], is_top: false });
            high = i;
            low = i;
        } else if rising != Some(false) && curve[high] - cents >= least {
            found.push(Turn { at: high, cents: curve[high], is_top: true });
            low = i;
            high = i;
        }
    }
    if let Some(last) = found.last() {
        let at = if last.is_top { low } else { high };
        found.push(Turn { at, cents: curve[at], is_top: !last.is_top });
    }
    found
}

/// All vibratos of a smoothed contour, in order. `noise` is its standard deviation in cents. Wide swings are looked for first:
/// the small turns that noise makes on a wide vibrato would cut it up.
#[must_use]
pub fn vibratos(curve: &[f64], hop_ms: f64, noise: f64) -> Vec<Vibrato> {
    let mut found: Vec<Vibrato> = Vec::new();
    let mut least = WIDEST_LEAST_CENTS;
    while least >= LEAST_SWING_CENTS.max(5.0 * noise) {
        for vibrato in vibratos_of(&turns(curve, least), curve, hop_ms) {
            let apart = |other: &Vibrato| vibrato.full.end <= other.full.start + 1 || other.full.end <= vibrato.full.start + 1;
            if found.iter().all(apart) {
                found.push(vibrato);
            }
        }
        least /= 2.0;
    }
    found.sort_by_key(|vibrato| vibrato.full.start);
    let mut joined: Vec<Vibrato> = Vec::new();
    for vibrato in found {
        match joined.last_mut() {
            Some(last) if last.goes_on_in(&vibrato, hop_ms) => last.join(&vibrato),
            Some(last) => {
                let begin = vibrato.span.start.max(last.span.end.min(vibrato.full.start));
                last.span.end = last.span.end.min(begin.max(last.full.end));
                joined.push(Vibrato { span: begin..vibrato.span.end, ..vibrato });
            }
            None => joined.push(vibrato),
        }
    }
    joined
}

impl Vibrato {
    /// Whether another one, found later in the curve, is the same vibrato: no cycle between them, and alike.
    fn goes_on_in(&self, next: &Self, hop_ms: f64) -> bool {
        let period = 1000.0 / self.rate_hz / hop_ms;
        let alike = |a: f64, b: f64, factor: f64| a < b * factor && b < a * factor;
        next.full.start as f64 - (self.full.end as f64) < 1.3 * period
            && alike(self.rate_hz, next.rate_hz, 1.35)
            && alike(self.extent_cents, next.extent_cents, 1.8)
            && (self.centre_cents - next.centre_cents).abs() < self.extent_cents
    }

    /// Takes in the rest of the same vibrato; each part counts by its length.
    fn join(&mut self, next: &Self) {
        let (a, b) = (self.full.len() as f64, next.full.len() as f64);
        let mix = |x: f64, y: f64| (a * x + b * y) / (a + b);
        self.rate_hz = mix(self.rate_hz, next.rate_hz);
        self.extent_cents = mix(self.extent_cents, next.extent_cents);
        self.centre_cents = mix(self.centre_cents, next.centre_cents);
        self.low_cents = mix(self.low_cents, next.low_cents);
        self.unevenness_pct = mix(self.unevenness_pct, next.unevenness_pct);
        self.full.end = self.full.end.max(next.full.end);
        self.span.end = self.span.end.max(next.span.end);
    }
}

/// The vibratos among these turns.
fn vibratos_of(turns: &[Turn], curve: &[f64], hop_ms: f64) -> Vec<Vibrato> {
    let mut found = Vec::new();
    let mut first = 0;
    while first + 4 < turns.len() {
        let run_end = longest_run(turns, first, hop_ms);
        if run_end >= first + 4
            && let Some(mut vibrato) = measure(curve, &turns[first..=run_end], hop_ms)
        {
            vibrato.span = with_its_ends(curve, &vibrato, hop_ms);
            found.push(vibrato);
            first = run_end;
        } else {
            first += 1;
        }
    }
    found
}

/// The last turn up to which swings from `first` on are alike.
fn longest_run(turns: &[Turn], first: usize, hop_ms: f64) -> usize {
    let swing = |i: usize| (turns[i + 1].cents - turns[i].cents).abs();
    let length = |i: usize| (turns[i + 1].at - turns[i].at) as f64 * hop_ms;
    let mut last = first;
    while last + 1 < turns.len() {
        let i = last;
        if !SWING_MS.contains(&length(i)) {
            break;
        }
        if i > first {
            // A vibrato may grow; once it has, no swing is much unlike the ones before.
            let median_of = |of: &dyn Fn(usize) -> f64| median(&(first..i).map(of).collect::<Vec<_>>()).unwrap_or(0.0);
            let (usual, usual_length) = (median_of(&swing), median_of(&length));
            let grows = i - first <= 2;
            let wide = swing(i) > usual * if grows { 3.5 } else { 1.9 };
            let narrow = swing(i) < usual * 0.4;
            let uneven = length(i) > usual_length * 2.0 || length(i) < usual_length * 0.45;
            if wide || narrow || uneven {
                break;
            }
        }
        last += 1;
    }
    let swings: Vec<f64> = (first..last).map(swing).collect();
    let usual = median(&swings).unwrap_or(0.0);
    // Too few wide humps are bends.
    if usual > WIDE_SWING_CENTS && swings.len() < 6 {
        return first;
    }
    // A much wider swing at either end is a bend or a release.
    if swings.first().is_some_and(|swing| *swing > END_FACTOR * usual) {
        return first;
    }
    while last > first && swing(last - 1) > END_FACTOR * usual {
        last -= 1;
    }
    last
}

/// A vibrato begins before its first wide turn, with smaller swings or half of one, where the curve leaves its level, and ends likewise,
/// unless it comes straight from a bend or goes over into a release there: those leave its range.
fn with_its_ends(curve: &[f64], vibrato: &Vibrato, hop_ms: f64) -> Range<usize> {
    let fine = turns(curve, LEAST_SWING_CENTS / 2.0);
    let half = 500.0 / vibrato.rate_hz / hop_ms;
    let in_range = |i: usize| (curve[i] - vibrato.centre_cents).abs() < 1.3 * vibrato.extent_cents;
    let is_swing = |a: usize, b: usize| {
        let length = b.abs_diff(a) as f64;
        length > 0.5 * half && length < 1.7 * half
    };
    // Flat over the rest of the half swing: there the curve was level, and the vibrato is half a swing longer.
    let level = |from: usize, to: usize| {
        let part = &curve[from.min(to)..to.max(from)];
        let (low, high) = part.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), c| (l.min(*c), h.max(*c)));
        part.len() >= 3 && high - low < 4.0
    };
    let mut span = vibrato.span.clone();
    while let Some(turn) = fine.iter().rev().find(|turn| turn.at < span.start)
        && in_range(turn.at)
        && is_swing(turn.at, span.start)
    {
        span.start = turn.at;
    }
    let reach = half as usize;
    let before = span.start.saturating_sub(reach);
    let earlier = fine.iter().rev().find(|turn| turn.at < span.start).map_or(0, |turn| turn.at);
    if in_range(before) && (level(before.saturating_sub(reach), before) || earlier >= before) {
        span.start = before.max(earlier);
    }
    while let Some(turn) = fine.iter().find(|turn| turn.at >= span.end)
        && in_range(turn.at)
        && is_swing(span.end - 1, turn.at)
    {
        span.end = turn.at + 1;
    }
    let after = (span.end + reach).min(curve.len() - 1);
    if in_range(after) && level(after, (after + reach).min(curve.len())) {
        span.end = after;
    }
    span
}

fn measure(curve: &[f64], turns: &[Turn], hop_ms: f64) -> Option<Vibrato> {
    let swings: Vec<f64> = turns.windows(2).map(|pair| (pair[1].cents - pair[0].cents).abs()).collect();
    // A vibrato grows and may fade: the wider half of its swings says how wide it is.
    let mut widest = swings.clone();
    widest.sort_by(f64::total_cmp);
    let typical = median(&widest[widest.len() / 2..])?;
    // Full width: from the first turn whose swings on both sides are grown.
    let full_from = swings.iter().position(|swing| *swing > 0.8 * typical)?;
    let full_to = swings.len() - swings.iter().rev().position(|swing| *swing > 0.8 * typical)?;
    let full = &turns[full_from..=full_to];
    // The full part of a short vibrato may be one cycle: then the swings before and after it say the rate, too.
    let period = period_hops(curve, full).or_else(|| period_hops(curve, turns))?;
    let refined: Vec<Turn> = full.iter().map(|turn| refine(curve, *turn, period)).collect();
    let level = |top: bool| {
        let cents: Vec<f64> = refined.iter().filter(|turn| turn.is_top == top).map(|turn| turn.cents).collect();
        median(&cents)
    };
    let (high, low) = (level(true)?, level(false)?);
    let whole = (full.len() - 1) / 2 * 2;
    // An even number of swings, the later ones where one is over: the first may still be growing.
    let skip = full.len() - 1 - whole;
    let (begin, end) = (full[skip].at, full[skip + whole].at);
    let full_swings: Vec<f64> = refined.windows(2).map(|pair| (pair[1].cents - pair[0].cents).abs()).collect();
    let mean_swing = mean(&full_swings)?;
    let variance = mean(&full_swings.iter().map(|s| (s - mean_swing).powi(2)).collect::<Vec<_>>())?;
    Some(Vibrato {
        span: turns[0].at..turns[turns.len() - 1].at + 1,
        full: begin..end,
        rate_hz: 1000.0 / (period * hop_ms),
        extent_cents: f64::midpoint(high, -low),
        centre_cents: mean(&curve[begin..end])?,
        low_cents: low,
        unevenness_pct: 100.0 * variance.sqrt() / mean_swing,
    })
}

/// The period in hops: the regression of the instants at which the curve crosses the middle of each swing, which move less with
/// noise than the turns do.
fn period_hops(curve: &[f64], turns: &[Turn]) -> Option<f64> {
    let crossings: Vec<f64> = turns
        .windows(2)
        .filter_map(|pair| {
            let middle = f64::midpoint(pair[0].cents, pair[1].cents);
            let rising = pair[1].is_top;
            (pair[0].at..pair[1].at).find_map(|i| {
                let (here, next) = (curve[i] - middle, curve[i + 1] - middle);
                let crosses = if rising { here < 0.0 && next >= 0.0 } else { here > 0.0 && next <= 0.0 };
                crosses.then(|| i as f64 + here / (here - next))
            })
        })
        .collect();
    super::statistics::slope(&crossings).map(|half| 2.0 * half).filter(|period| *period > 0.0)
}

/// The height of a turn: a cosine of the known period fitted to a quarter of it on either side, so that noise does not add to
/// the width and smoothing does not take from it.
fn refine(curve: &[f64], turn: Turn, period: f64) -> Turn {
    let half = (period / 6.0).round() as usize;
    if half < 2 || turn.at < half || turn.at + half >= curve.len() {
        return turn;
    }
    let window = &curve[turn.at - half..=turn.at + half];
    // Least squares for a + b cos(wx) + c sin(wx): by symmetry c is separate.
    let w = std::f64::consts::TAU / period;
    let mut sums = [0.0; 7];
    for (j, y) in window.iter().enumerate() {
        let x = j as f64 - half as f64;
        let (s, c) = (w * x).sin_cos();
        for (sum, term) in sums.iter_mut().zip([1.0, c, c * c, *y, c * y, s * s, s * y]) {
            *sum += term;
        }
    }
    let [n, cos, cos_cos, height, cos_height, sin_sin, sin_height] = sums;
    let determinant = n * cos_cos - cos * cos;
    let offset = (height * cos_cos - cos * cos_height) / determinant;
    let cosine = (n * cos_height - cos * height) / determinant;
    let sine = sin_height / sin_sin;
    let swing = cosine.hypot(sine).copysign(if turn.is_top { 1.0 } else { -1.0 });
    let bends_this_way = (cosine > 0.0) == turn.is_top;
    let cents = offset + swing;
    if bends_this_way && (cents - turn.cents).abs() < 15.0 { Turn { cents, ..turn } } else { turn }
}
