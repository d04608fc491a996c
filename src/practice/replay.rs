//! The last bend again: the curve of its pitch as it was, then as it should have been, which rises in the same time.

use crate::grading::Attempt;
use crate::sound::out::{Glide, Gliding};
use crate::units::{A4, FrameTime, SampleRate};

/// Under the level of the player.
const GAIN: f32 = 0.5;
/// From the end of the one to the beginning of the other, s.
const APART_S: f64 = 0.5;
/// Longer than this nobody compares, s.
const LONGEST_S: f64 = 12.0;
/// The origin is heard for so long at least before a bend that should have been, s.
const ORIGIN_S: f64 = 0.15;

/// Pitch over time: seconds from the attack and cents on the MIDI scale, in order.
pub type Curve = Vec<(f64, f64)>;

/// The attempt as it was, from readings (seconds of the take and cents): from its attack to its end, holes closed straight. Empty where no pitch was read.
#[must_use]
pub fn as_it_was(attempt: &Attempt, readings: &[(f64, f64)]) -> Curve {
    let (from, to) = (attempt.span.0.seconds(attempt.sample_rate), attempt.span.1.seconds(attempt.sample_rate));
    let to = to.min(from + LONGEST_S);
    let mut curve: Curve = readings.iter().filter(|(at, _)| (from..=to).contains(at)).map(|(at, cents)| (at - from, *cents)).collect();
    // What no reading told yet sounded as the first one.
    if let Some((_, cents)) = curve.first().copied().filter(|first| first.0 > 0.0) {
        curve.insert(0, (0.0, cents));
    }
    curve
}

/// The same as it should have been: origin, rise, hold and release at the same times, at the pitches that were wanted. `None` where no bend was wanted.
#[must_use]
pub fn as_it_should_be(attempt: &Attempt) -> Option<Curve> {
    let (origin, target) = attempt.origin_cents.zip(attempt.target_cents).filter(|(origin, target)| (target - origin).abs() > 1.0)?;
    let rate = attempt.sample_rate;
    let onset = attempt.span.0.seconds(rate);
    let end = (attempt.span.1.seconds(rate) - onset).min(LONGEST_S);
    let measures = &attempt.measures;
    // A rise is measured between the last instant within 10 cents of the one and the first within 10 of the other.
    let whole = (1.0 - 20.0 / (target - origin).abs()).max(0.2);
    let mut curve = Curve::new();
    let mut now = 0.0;
    if let (Some(begins), Some(arrives)) = (measures.bend_start_s, measures.arrival_s) {
        let takes = (arrives - begins).max(0.0) / whole;
        let begins = (begins - onset - 0.5 * (takes - (arrives - begins).max(0.0))).max(ORIGIN_S);
        now = begins + takes;
        curve.extend([(0.0, origin), (begins, origin)]);
    }
    curve.push((now, target));
    match (measures.release_start_s, measures.release_ms) {
        (Some(lets_go), Some(takes_ms)) => {
            let takes = takes_ms / 1000.0 / whole;
            let lets_go = (lets_go - onset - 0.5 * (takes - takes_ms / 1000.0)).max(now);
            curve.extend([(lets_go, target), (lets_go + takes, origin), (end.max(lets_go + takes + ORIGIN_S), origin)]);
        }
        _ => curve.push((end.max(now + ORIGIN_S), target)),
    }
    Some(curve)
}

/// Both, one after the other; `None` where there is no curve of the bend, or none was wanted.
#[must_use]
pub fn replay(attempt: &Attempt, readings: &[(f64, f64)], rate: SampleRate, a4: A4) -> Option<Gliding> {
    let was = as_it_was(attempt, readings);
    let right = as_it_should_be(attempt)?;
    let second = was.last()?.0 + APART_S;
    let glide = |at_s: f64, curve: &Curve| Glide {
        at: FrameTime(rate.span(at_s).0),
        pitch: curve.iter().map(|(at, cents)| (rate.span(*at).0, a4.hz_of(*cents))).collect(),
    };
    Some(Gliding::new(vec![glide(0.0, &was), glide(second, &right)], GAIN, rate))
}
