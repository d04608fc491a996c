//! `hold_s`, `in_tune_s`, `hold_error_cents`, `hold_drift_cents_per_s`, `hold_spread_cents`: how the bend stays.

use crate::notes::statistics::{median, slope, spread_around_line};
use crate::notes::{Shape, Vibrato};

/// Ends of the hold that say nothing of its slope, ms.
const EDGE_MS: f64 = 50.0;

/// A shorter hold has no slope, s.
const LEAST_DRIFT_HOLD_S: f64 = 0.25;

/// How a bend was held: a stretch of the note's curve in hops.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Hold {
    /// Arrival.
    pub from: f64,
    /// Start of the release, or end of the note.
    pub to: f64,
    /// Settled pitch: the median, or the vibrato's centre.
    pub level: f64,
    /// Slope in cents a second.
    pub drift: Option<f64>,
    /// Standard deviation around that slope.
    pub spread: Option<f64>,
    /// The curve without its vibrato over the hold.
    calm: Vec<f64>,
    hop_s: f64,
}

impl Hold {
    /// Measures the stretch between two positions. `level` is given where the top was only touched: then there is no slope.
    pub fn of(shape: &Shape, from: f64, to: f64, vibrato: Option<&Vibrato>, level: Option<f64>) -> Option<Self> {
        let calm_curve = shape.without_vibrato();
        let hop_s = shape.hop_ms / 1000.0;
        let first = (from.ceil().max(0.0) as usize).min(calm_curve.len() - 1);
        let last = (to.floor().max(0.0) as usize).clamp(first, calm_curve.len() - 1);
        let calm = calm_curve[first..=last].to_vec();
        let held = (to - from) * hop_s;
        let settled = match (level, vibrato) {
            (Some(level), _) => level,
            (None, Some(vibrato)) => vibrato.centre_cents,
            (None, None) => median(&shape.curve[first..=last])?,
        };
        let stretch = sloping(shape, &calm, first, vibrato);
        let has_slope = level.is_none() && held >= LEAST_DRIFT_HOLD_S;
        let drift = has_slope.then(|| slope(stretch)).flatten().map(|per_hop| per_hop / hop_s);
        let spread = has_slope.then(|| spread_around_line(stretch)).flatten();
        Some(Self { from, to, level: settled, drift, spread, calm, hop_s })
    }

    /// `hold_s`.
    pub fn seconds(&self) -> f64 {
        (self.to - self.from).max(0.0) * self.hop_s
    }

    /// `in_tune_s`: time within `tolerance` cents of `target`, the vibrato taken out.
    pub fn in_tune_s(&self, target: f64, tolerance: f64) -> f64 {
        let inside = self.calm.iter().filter(|cents| (*cents - target).abs() <= tolerance).count();
        self.seconds() * inside as f64 / self.calm.len().max(1) as f64
    }
}

/// The hold without its first and last 50 ms; with a vibrato, whole cycles of it only (the running mean is level over them).
fn sloping<'a>(shape: &Shape, calm: &'a [f64], first: usize, vibrato: Option<&Vibrato>) -> &'a [f64] {
    if let Some(vibrato) = vibrato {
        let half = (500.0 / vibrato.rate_hz / shape.hop_ms) as usize;
        let from = (vibrato.full.start + half).saturating_sub(first).min(calm.len());
        let to = (vibrato.full.end.saturating_sub(half)).saturating_sub(first).clamp(from, calm.len());
        if (to - from) as f64 * shape.hop_ms >= 100.0 {
            return &calm[from..to];
        }
    }
    let edge = shape.hops(EDGE_MS);
    if calm.len() > 2 * edge + 3 { &calm[edge..calm.len() - edge] } else { calm }
}
