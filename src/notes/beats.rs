//! What looks like movement and is none: two sounds that beat, and single spikes of the tracker.
//!
//! A hand shakes up to nine times a second, so each of its swings takes 48 ms or more. Swings that are shorter and follow each other
//! are the beating of two strings (or of a string and a backing): the pitch is their mean over whole beats. A spike that comes and
//! goes within 25 ms is the tracker's.

use super::shape::mean_between;
use super::statistics::mean;
use super::vibrato::{Turn, turns};

/// Shortest swing of a hand, ms.
const HAND_MS: f64 = 45.0;

/// Smallest swing that is taken out, cents: smaller ones do no harm.
const LEAST_CENTS: f64 = 6.0;

/// So many short swings in a row are a beating.
const LEAST_SWINGS: usize = 5;

/// Width of a spike, ms, and its least height, cents: the sharpest top of a vibrato, 50 cents at 8 a second, is 9 high over 25 ms.
const SPIKE_MS: f64 = 25.0;
const SPIKE_CENTS: f64 = 12.0;

/// Puts the mean over whole beats where a curve beats.
pub(super) fn calm_beats(curve: &mut [f64], hop_ms: f64) {
    let turns = turns(curve, LEAST_CENTS);
    let short = |a: &Turn, b: &Turn| ((b.at - a.at) as f64) * hop_ms < HAND_MS;
    let mut first = 0;
    while first + LEAST_SWINGS < turns.len() {
        let swings = turns[first..].windows(2).take_while(|pair| short(&pair[0], &pair[1])).count();
        if swings < LEAST_SWINGS {
            first += swings.max(1);
            continue;
        }
        let run = &turns[first..=first + swings];
        let lengths: Vec<f64> = run.windows(2).map(|pair| (pair[1].at - pair[0].at) as f64).collect();
        let period = 2.0 * mean(&lengths).unwrap_or(1.0);
        let (from, to) = (run[0].at, run[swings].at);
        let original = curve[from..=to].to_vec();
        let last = (to - from) as f64;
        for (i, cents) in curve[from..=to].iter_mut().enumerate() {
            let centre = (i as f64).clamp(period / 2.0, (last - period / 2.0).max(period / 2.0));
            *cents = mean_between(&original, centre - period / 2.0, centre + period / 2.0);
        }
        first += swings;
    }
}

/// Bridges spikes, up and down: what a flat opening and a flat closing of their width take away by more than their height.
/// (Serra, Image Analysis and Mathematical Morphology, 1982: both leave slopes and steps as they are. From memory.)
pub(super) fn bridge_spikes(curve: &mut [f64], hop_ms: f64) {
    let width = (SPIKE_MS / hop_ms).round() as usize;
    if curve.len() <= 2 * width {
        return;
    }
    let opened = slide(&slide(curve, width, f64::min), width, f64::max);
    let closed = slide(&slide(curve, width, f64::max), width, f64::min);
    let is_spike: Vec<bool> =
        curve.iter().zip(opened.iter().zip(&closed)).map(|(c, (o, k))| c - o > SPIKE_CENTS || k - c > SPIKE_CENTS).collect();
    let inner = width..curve.len() - width;
    let mut i = inner.start;
    while i < inner.end {
        if is_spike[i] {
            let end = (i..curve.len()).find(|&j| !is_spike[j]).unwrap_or(curve.len() - 1);
            let (from, to) = (curve[i - 1], curve[end]);
            for (step, cents) in curve[i..end].iter_mut().enumerate() {
                *cents = from + (to - from) * (step + 1) as f64 / (end - i + 1) as f64;
            }
            i = end;
        }
        i += 1;
    }
}

/// The least (or greatest) of the `width` points around each point.
fn slide(curve: &[f64], width: usize, pick: fn(f64, f64) -> f64) -> Vec<f64> {
    let half = width / 2;
    (0..curve.len())
        .map(|i| {
            let window = &curve[i.saturating_sub(half)..(i + half + 1).min(curve.len())];
            window.iter().copied().fold(window[0], pick)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_beating_of_26_hz_leaves_its_mean() {
        let mut curve: Vec<f64> = (0..200).map(|i| 6700.0 + 15.0 * (f64::from(i) * 2.667 / 38.0 * std::f64::consts::TAU).sin()).collect();
        calm_beats(&mut curve, 2.667);
        assert!(curve[20..180].iter().all(|c| (c - 6700.0).abs() < 2.0));
    }

    #[test]
    fn a_vibrato_of_8_hz_is_no_beating() {
        let vibrato: Vec<f64> = (0..400).map(|i| 6700.0 + 40.0 * (f64::from(i) * 2.667 / 125.0 * std::f64::consts::TAU).sin()).collect();
        let mut curve = vibrato.clone();
        calm_beats(&mut curve, 2.667);
        bridge_spikes(&mut curve, 2.667);
        assert_eq!(curve, vibrato);
    }

    #[test]
    fn a_spike_is_bridged_and_a_ramp_kept() {
        let mut curve: Vec<f64> = (0..200).map(|i| 6700.0 + f64::from(i)).collect();
        let ramp = curve.clone();
        for cents in &mut curve[100..105] {
            *cents += 60.0;
        }
        bridge_spikes(&mut curve, 2.667);
        assert!(curve.iter().zip(&ramp).all(|(c, r)| (c - r).abs() < 3.0));
    }
}
