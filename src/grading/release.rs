//! `release_start_s`, `release_ms`, `release_error_cents`: how the bend comes home.

use super::origin::{BAND_CENTS, last_before, leaving_cents};
use crate::notes::statistics::median;
use crate::notes::{Bend, Shape, Vibrato};

/// The end of the hold that says where the release leaves from, ms.
const LATE_MS: f64 = 150.0;

/// A landing shorter than this cannot be told, ms.
const LEAST_LANDING_MS: f64 = 25.0;

/// How a bend was let down, in hops.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Release {
    /// Last instant within 10 cents of the hold's end.
    pub start: f64,
    /// First instant within 10 cents of the landing; `None` where it never landed.
    pub end: Option<f64>,
    /// Settled landing pitch.
    pub landing: Option<f64>,
}

/// The release of a bend. `arrival` is where the hold begins; `touched` the height of a top that was only touched.
pub(super) fn release(shape: &Shape, bend: &Bend, arrival: f64, vibrato: Option<&Vibrato>, touched: Option<f64>) -> Option<Release> {
    let fall = bend.release.clone()?;
    let curve = &shape.smooth;
    let (top, bottom) = (curve[fall.start], curve[fall.end - 1]);
    let half_way = fall.clone().find(|&i| curve[i] < f64::midpoint(top, bottom)).unwrap_or(fall.end - 1);
    let first = (arrival.ceil().max(0.0) as usize).min(half_way);
    let mut start = fall.start as f64;
    let leaving = leaving_cents(shape);
    let mut level: Option<f64> = None;
    for _ in 0..3 {
        let settled = if let Some(top) = touched {
            top
        } else if let Some(vibrato) = vibrato.filter(|v| v.span.end + shape.hops(LATE_MS) > fall.start) {
            vibrato.low_cents
        } else {
            // The slow beginning of the fall is no part of the level that it leaves.
            let until = level.map_or(start, |level| last_before(curve, half_way, first, level - leaving, false));
            let until = (until.floor() as usize + 1).clamp(first + 1, half_way.max(first + 1));
            let from = until.saturating_sub(shape.hops(LATE_MS)).max(first);
            median(&curve[from..until])?
        };
        level = Some(settled);
        start = last_before(curve, half_way, first, settled - BAND_CENTS, false);
    }
    let landing = bend.landing.clone().and_then(|stay| landing_level(shape, stay.start..stay.end.min(curve.len())));
    let end = landing.and_then(|level| {
        let last = bend.landing.as_ref().map_or(fall.end, |stay| stay.end).min(curve.len());
        let k = (half_way..last).find(|&i| (curve[i] - level).abs() <= BAND_CENTS)?;
        let cross = if k == 0 || curve[k - 1] <= level + BAND_CENTS {
            k as f64
        } else {
            super::arrival::crossing(curve, k - 1, level + BAND_CENTS)
        };
        Some(cross)
    });
    Some(Release { start, end, landing })
}

/// The settled pitch of the landing: its median; with a vibrato on it, that vibrato's centre.
fn landing_level(shape: &Shape, stay: std::ops::Range<usize>) -> Option<f64> {
    if (stay.len() as f64) * shape.hop_ms < LEAST_LANDING_MS {
        return None;
    }
    if let Some(vibrato) = shape.vibrato_in(&stay) {
        return Some(vibrato.centre_cents);
    }
    median(&shape.curve[stay])
}
