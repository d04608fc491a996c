//! Whether a movement of the pitch is a string's: chords, drums and speech make the tracker say pitches too.
//!
//! The limits come from recordings: real bends of plucked strings (also with noise, another string ringing, distortion) against strummed
//! chords, drums, dying notes and speech. They are common practice at best; no source.

use super::bend::Bend;
use super::contour::Contour;
use super::note::{Cause, Note};
use super::shape::Shape;
use super::statistics::median;
use std::ops::Range;

/// Over a bend the tracker is this sure in the median; over chords it is not.
const USUAL_CLARITY: f64 = 0.82;

/// And this sure but for a tenth of the bend.
const LEAST_CLARITY: f64 = 0.65;

/// The less there is of a bend, the clearer it must be: a hold shorter than this, ms, without a release.
const SHORT_HOLD_MS: f64 = 200.0;
const SHORT_LEAST_CLARITY: f64 = 0.8;

/// How long after its stroke a rise begins at the earliest, ms: until then the pick holds the string.
const STROKE_TO_RISE_MS: f64 = 9.0;

/// Unless it takes this long to its middle: the quickest bend, of 54 ms, that begins 15 ms after the stroke.
const STROKE_TO_HALF_WAY_MS: f64 = 42.0;

/// After a hammer-on, a pull-off or a slide, or right after a stroke, a bend that is not let down is held for this long, ms; and
/// elsewhere it is clearer where its hold is shorter: a drum's skin wavers at 0.86.
const DOUBTFUL_HOLD_MS: f64 = 50.0;
const DOUBTFUL_LEAST_CLARITY: f64 = 0.9;

/// Where no stroke was heard, a bend must be this large, cents, and as clear as this.
const UNHEARD_CENTS: f64 = 50.0;
const UNHEARD_CLARITY: f64 = 0.88;

/// Where no stroke was heard, this far under the loudest of the last seconds a sound is a tail or comes from elsewhere, dB.
const UNHEARD_DB: f32 = 26.0;

/// A plucked string only dies away; a voice swells: so many dB over its first tenth of a second.
const SWELL_DB: f32 = 6.0;

/// Whether a bend of this note can be a string's. `loudest_dbfs` is the loudest that was heard in the last seconds.
#[must_use]
pub fn is_a_strings(note: &Note, shape: &Shape, bend: &Bend, loudest_dbfs: f32) -> bool {
    let contour = &note.contour;
    let begin = bend.rise.as_ref().map_or(bend.hold.start, |rise| rise.start);
    let end = bend.release.as_ref().map_or(bend.hold.end, |fall| fall.end).min(contour.len());
    let (usual, least) = clarities(contour, begin..end);
    let held_ms = (bend.hold.len() as f64) * shape.hop_ms;
    let asked = match held_ms {
        _ if bend.release.is_some() => LEAST_CLARITY,
        ms if ms < DOUBTFUL_HOLD_MS => DOUBTFUL_LEAST_CLARITY,
        ms if ms < SHORT_HOLD_MS => SHORT_LEAST_CLARITY,
        _ => LEAST_CLARITY,
    };
    if usual < USUAL_CLARITY || least < asked {
        return false;
    }
    // Between two fingers' steps, a step that was read slowly is no bend.
    let is_bend = bend.release.is_some() || held_ms >= DOUBTFUL_HOLD_MS;
    if matches!(note.cause, Cause::Hammer | Cause::PullOff | Cause::Slide) && !is_bend {
        return false;
    }
    let size = bend.rise.as_ref().map(|rise| shape.smooth[rise.end - 1] - shape.smooth[rise.start]);
    if note.cause == Cause::Unheard {
        let quiet = contour.levels()[begin..end].iter().copied().fold(f32::NEG_INFINITY, f32::max) < loudest_dbfs - UNHEARD_DB;
        if size.is_none_or(|size| size < UNHEARD_CENTS) || least < UNHEARD_CLARITY || quiet {
            return false;
        }
    }
    let attack = contour.position(note.onset);
    // What a stroke leaves may hide where the rise begins; its middle says how soon it was. A drum's skin rises, too, but not as clearly.
    let is_clear = least >= DOUBTFUL_LEAST_CLARITY;
    let too_early = |rise: &Range<usize>| {
        let ms = |point: usize| (point as f64 - attack) * shape.hop_ms;
        let middle = f64::midpoint(shape.smooth[rise.start], shape.smooth[rise.end - 1]);
        let half_way = rise.clone().find(|&i| shape.smooth[i] > middle).unwrap_or(rise.start);
        ms(rise.start) < STROKE_TO_RISE_MS && !(is_bend && is_clear && ms(half_way) >= STROKE_TO_HALF_WAY_MS)
    };
    if note.cause == Cause::Pick && bend.rise.as_ref().is_some_and(too_early) {
        return false;
    }
    // Picked again, it swells rightly.
    !note.repicks.is_empty() || !swells(contour, attack.max(0.0) as usize, end)
}

/// Median and tenth percentile of the tracker's clarity; holes count as 0.
fn clarities(contour: &Contour, span: Range<usize>) -> (f64, f64) {
    let mut sorted: Vec<f64> = contour.clarities()[span].iter().map(|c| f64::from(*c)).collect();
    sorted.sort_by(f64::total_cmp);
    (median(&sorted).unwrap_or(0.0), sorted.get(sorted.len() / 10).copied().unwrap_or(0.0))
}

/// Whether the sound grows after its beginning.
fn swells(contour: &Contour, attack: usize, end: usize) -> bool {
    let early = (attack + contour.hops(100.0) as usize).min(contour.len());
    let loudest = |levels: &[f32]| levels.iter().copied().fold(f32::NEG_INFINITY, f32::max);
    let first = loudest(&contour.levels()[attack.min(early)..early]);
    early < end && loudest(&contour.levels()[early..end]) > first + SWELL_DB
}
