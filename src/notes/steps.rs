//! Hammer-ons, pull-offs and slides: steps of whole frets inside one picked note.
//!
//! A finger that comes down changes the pitch at once, and to a fret: one step of a multiple of 100 cents in under 20 ms, level before
//! and after. A slide is stairs of such steps. A bend is continuous, S-shaped, and ends anywhere. The shape is judged on the curve before
//! smoothing, which would turn steps into bends. (Common practice, no source; the times come from the recorded takes' slides, 12 ms a
//! step, hammer-ons, 5 ms, and bends, 54 ms and more for any size.)

use super::note::Cause;
use super::statistics::median;
use super::vibrato::turns;
use crate::units::A4;
use std::ops::Range;

/// A fret is a multiple of 100 cents, within this: strings stretch, and fingers press.
const FRET_SLACK_CENTS: f64 = 28.0;

/// Steps of a slide follow each other within this, ms.
const STAIR_MS: f64 = 70.0;

/// After a step the pitch stays for at least this, ms.
const STAY_MS: f64 = 25.0;

/// A step between frets.
#[derive(Clone, Debug, PartialEq)]
pub struct Step {
    /// Where it moves, in points.
    pub span: Range<usize>,
    /// Position in hops at which the note after it begins.
    pub onset: f64,
    /// What made it.
    pub cause: Cause,
}

/// Longest time from 10 to 90 % of a single step at a pitch, ms: 20 (a step of 12 ms seen through a window of 14 ms to either side, against
/// 32 for the fastest bend, of 54 ms), and up to 30 where the pitch is so low that the window is longer.
fn longest_single_ms(cents: f64) -> f64 {
    let half_window_ms = 2500.0 / A4::default().hz_of(cents);
    (20.0 * half_window_ms / 14.0).clamp(20.0, 30.0)
}

/// A move of so many frets in this time, ms, is no hand's bend whatever its shape: 200 cents take it 30 at least, 300 cents 36.
fn longest_step_ms(cents: f64, frets: f64) -> f64 {
    let single = longest_single_ms(cents);
    if frets < 2.0 { single } else { single.max(28.0 + 5.0 * (frets - 2.0)) }
}

/// Longest time a fret from 10 to 90 % of stairs without pauses, ms.
const STAIRS_MS_A_FRET: f64 = 40.0;

/// On stairs the curve is slower on the frets than between them; on a bend it is fastest in the middle (ratio 1.14 for a raised
/// cosine of two frets or three, 1 for a straight line).
const STAIRS_RATIO: f64 = 0.75;

/// Where both ends are on frets, less will do: of 620 synthesised and recorded bends and releases of two frets and more, none was under 0.96 there.
const ON_FRETS_RATIO: f64 = 0.94;
const ON_FRETS_CENTS: f64 = 12.0;

/// At this many ms a fret the window hides most of the pauses, but it leaves a quick bend its shape: 1.1 and more.
const HIDDEN_MS_A_FRET: f64 = 14.0;
const HIDDEN_RATIO: f64 = 1.06;

/// The ratio under which a move of so many ms a fret, that misses its last fret by so many cents, is stairs.
fn stairs_ratio(ms_a_fret: f64, off_cents: f64) -> f64 {
    if off_cents.abs() >= ON_FRETS_CENTS {
        STAIRS_RATIO
    } else if ms_a_fret < HIDDEN_MS_A_FRET {
        HIDDEN_RATIO
    } else {
        ON_FRETS_RATIO
    }
}

/// All steps of a clean, unsmoothed curve, in order; stairs are joined into one slide.
#[must_use]
pub fn steps(curve: &[f64], hop_ms: f64) -> Vec<Step> {
    let mut found: Vec<Step> = Vec::new();
    for pair in turns(curve, 60.0).windows(2) {
        let leg = pair[0].at..pair[1].at + 1;
        for run in runs(curve, leg, pair[1].is_top, hop_ms) {
            if let Some(step) = step(curve, run, hop_ms) {
                join(&mut found, step, curve, hop_ms);
            }
        }
    }
    found
}

/// The fast parts of a leg: over 1500 cents a second, which a fret move exceeds and the pause on a stair does not.
fn runs(curve: &[f64], leg: Range<usize>, rises: bool, hop_ms: f64) -> Vec<Range<usize>> {
    let sign = if rises { 1.0 } else { -1.0 };
    let least = 1500.0 * hop_ms / 1000.0;
    let mut runs: Vec<Range<usize>> = Vec::new();
    for i in leg.start..leg.end.saturating_sub(1) {
        if (curve[i + 1] - curve[i]) * sign > least {
            match runs.last_mut() {
                Some(run) if run.end > i => run.end = i + 2,
                _ => runs.push(i..i + 2),
            }
        }
    }
    runs
}

/// Whether a fast run is a fret move.
fn step(curve: &[f64], run: Range<usize>, hop_ms: f64) -> Option<Step> {
    let hops = |ms: f64| (ms / hop_ms).round() as usize;
    let level = |range: Range<usize>| median(&curve[range.start.min(curve.len() - 1)..range.end.min(curve.len())]);
    // The levels on both sides, a little away from the corners.
    let before =
        level(run.start.saturating_sub(hops(8.0))..run.start.saturating_sub(hops(1.0)).max(run.start.saturating_sub(hops(8.0)) + 1))?;
    let after = level(run.end..run.end + hops(8.0).max(2))?;
    let size = (after - before).abs();
    let frets = (size / 100.0).round();
    if frets < 1.0 || (size - 100.0 * frets).abs() > FRET_SLACK_CENTS {
        return None;
    }
    let sign = (after - before).signum();
    let reaches = |share: f64| {
        let height = before + share * (after - before);
        (run.start.saturating_sub(hops(10.0))..(run.end + hops(10.0)).min(curve.len() - 1))
            .find(|&i| (curve[i] - height) * sign <= 0.0 && (curve[i + 1] - height) * sign > 0.0)
            .map(|i| i as f64 + (height - curve[i]) / (curve[i + 1] - curve[i]))
    };
    let (tenth, middle, rest) = (reaches(0.1)?, reaches(0.5)?, reaches(0.9)?);
    let took_ms = (rest - tenth) * hop_ms;
    let is_stairs = frets >= 2.0 && took_ms > longest_single_ms(before);
    if took_ms > longest_step_ms(before, frets) {
        if !is_stairs {
            return None;
        }
        let ratio = slowness_on_frets(frets as usize, &reaches)?;
        if took_ms > STAIRS_MS_A_FRET * frets || ratio > stairs_ratio(took_ms / frets, size - 100.0 * frets) {
            return None;
        }
    }
    let stay = run.end + hops(4.0)..(run.end + hops(4.0 + STAY_MS)).min(curve.len());
    let drift = curve.get(stay.end.saturating_sub(1)).map_or(0.0, |end| (end - after).abs());
    if drift > 16.0 && !is_stairs && (drift - 100.0 * (drift / 100.0).round()).abs() > FRET_SLACK_CENTS {
        return None;
    }
    let (cause, onset) = if is_stairs {
        (Cause::Slide, rest)
    } else if sign > 0.0 {
        (Cause::Hammer, middle)
    } else {
        (Cause::PullOff, middle)
    };
    Some(Step { span: run, onset, cause })
}

/// How fast stairs of `frets` are on the frets passed, against between them: times to cross 40 cents around each height.
fn slowness_on_frets(frets: usize, reaches: &dyn Fn(f64) -> Option<f64>) -> Option<f64> {
    let n = frets as f64;
    let time_around = |fret: f64| Some(reaches((fret + 0.2) / n)? - reaches((fret - 0.2) / n)?);
    let (mut on, mut between) = (0.0, 0.0);
    for k in 1..frets {
        on += time_around(k as f64)? / (n - 1.0);
    }
    for k in 0..frets {
        between += time_around(k as f64 + 0.5)? / n;
    }
    Some(between / on)
}

/// Steps that follow each other closely are one slide, which ends with the last.
fn join(found: &mut Vec<Step>, step: Step, curve: &[f64], hop_ms: f64) {
    if let Some(last) = found.last_mut()
        && (step.span.start.saturating_sub(last.span.end)) as f64 * hop_ms < STAIR_MS
        && (curve[step.span.end - 1] > curve[step.span.start]) == (curve[last.span.end - 1] > curve[last.span.start])
    {
        // The note begins with the last stair: halfway up it the new fret sounds.
        *last = Step { span: last.span.start..step.span.end, onset: step.onset + 3.0 / hop_ms, cause: Cause::Slide };
    } else {
        found.push(step);
    }
}
