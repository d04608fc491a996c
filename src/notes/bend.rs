//! The bends of one note, read off its movements: where each comes from, where it is held, where it is let down.

use super::movement::{Movement, MovementKind};
use super::sag::is_sag;
use super::shape::Shape;
use std::ops::Range;

/// The pitch is where it was as long as it is within this, cents.
const BAND_CENTS: f64 = 10.0;

/// A further rise after a stop shorter than this belongs to the same bend, ms.
const SAME_BEND_STOP_MS: f64 = 250.0;

/// A further rise smaller than this belongs to the same bend, cents.
const SAME_BEND_RISE_CENTS: f64 = 60.0;

/// An overshoot stays at its top for less than this, ms, and comes back by no more than half of the rise.
const OVERSHOOT_TOP_MS: f64 = 120.0;

/// A pre-bend is held for this long at least before it is let down, ms from the attack: the glide of a hard pick falls from the start.
const PRE_BEND_HOLD_MS: f64 = 90.0;

/// No stroke glides this far: such a fall needs a shorter hold before it, cents and ms from the attack.
const LARGE_FALL_CENTS: f64 = 70.0;
const LARGE_FALL_HOLD_MS: f64 = 45.0;

/// A fall that comes back to where it left within this long is a dip of the bar, ms.
const DIP_MS: f64 = 600.0;

/// A dip leaves a pitch that was held for this long, ms: the glide of a hard pick does not.
const HELD_BEFORE_DIP_MS: f64 = 40.0;

/// No stroke glides farther than this, cents: a larger fall and its way back are a dip however soon they come, or a drum's skin.
const LARGEST_GLIDE_CENTS: f64 = 40.0;

/// A bend that is not let down is held for this long at least, ms, from where it comes within 10 cents of its top.
const LEAST_HELD_MS: f64 = 50.0;

/// One bend inside a note, as stretches of the note's curve.
#[derive(Clone, Debug, PartialEq)]
pub struct Bend {
    /// The stretch before the rise; `None` for a pre-bend.
    pub before: Option<Range<usize>>,
    /// The rise to the first stop; `None` for a pre-bend.
    pub rise: Option<Range<usize>>,
    /// From the end of the (first) rise to the beginning of the release, or the end of the note.
    pub hold: Range<usize>,
    /// The end of the first stop, where the bend was corrected afterwards; else the end of the hold.
    pub first_stop_end: usize,
    /// The bend stopped and then went on up.
    pub corrected: bool,
    /// The fall, where it was let down.
    pub release: Option<Range<usize>>,
    /// From the end of the release to the next movement or the end of the note.
    pub landing: Option<Range<usize>>,
}

impl Bend {
    /// Bent before it was picked.
    #[must_use]
    pub fn is_pre_bend(&self) -> bool {
        self.rise.is_none()
    }
}

/// All bends of a note, in order. `settled` is the first point that counts (30 ms after the attack), `end` one behind the last.
#[must_use]
pub fn bends(shape: &Shape, settled: usize, end: usize) -> Vec<Bend> {
    let mut moves: Vec<&Movement> = shape.moves.iter().filter(|m| m.span.start < end && m.span.end > settled).collect();
    let mut settled = settled;
    // The glide of the stroke itself, which ends within a tenth of a second.
    if let Some(glide) = moves.first().filter(|m| m.kind == MovementKind::Fall && m.span.start < settled + shape.hops(20.0))
        && ms_between(shape, settled, glide.span.end) < GLIDE_MS
    {
        settled = glide.span.end;
        moves.remove(0);
    }
    let mut found = Vec::new();
    let mut before = settled;
    let mut i = 0;
    while i < moves.len() {
        if moves[i].kind == MovementKind::Rise {
            let (bend, next) = rising(shape, &moves, i, before, end);
            if is_played(shape, &bend, end) {
                before = bend.landing.as_ref().map_or(bend.hold.start, |landing| landed(shape, landing.start));
                found.push(bend);
                i = next;
            } else {
                before = moves[i].span.end;
                i += 1;
            }
        } else if i == 0
            && let Some((bend, next)) = pre_bend(shape, &moves, settled, end)
        {
            before = bend.landing.as_ref().map_or(end, |landing| landing.start);
            found.push(bend);
            i = next;
        } else {
            // A dip: it and its way back make no bend.
            let back = moves.get(i + 1).filter(|m| m.kind == MovementKind::Rise && is_dip(shape, moves[i], m));
            let was_held = ms_between(shape, before, moves[i].span.start) >= HELD_BEFORE_DIP_MS;
            let is_glide = !was_held && moves[i].from_cents - moves[i].to_cents <= LARGEST_GLIDE_CENTS;
            i += if back.is_some() && !is_glide { 2 } else { 1 };
            before = moves[i - 1].span.end;
        }
    }
    found
}

/// A hard stroke glides down for at most this long after the first 30 ms, ms.
const GLIDE_MS: f64 = 80.0;

/// No finger bends quicker than this, ms from turn to turn; letting go is quicker.
const QUICKEST_MS: f64 = 42.0;
const QUICKEST_FALL_MS: f64 = 25.0;

/// See [`stands_out`].
const LEVEL_BEFORE_MS: f64 = 30.0;
const LEVEL_AFTER_MS: f64 = 40.0;

/// Whether a rise is a played bend: not the fuzz at the end of a note, nor one more swing beside a vibrato.
fn is_played(shape: &Shape, bend: &Bend, end: usize) -> bool {
    let Some(rise) = &bend.rise else { return true };
    let (from, top) = (shape.smooth[rise.start], shape.smooth[rise.end - 1]);
    let size = top - from;
    let mut held_ms = bend.hold.len() as f64 * shape.hop_ms;
    if rise.len() as f64 * shape.hop_ms < QUICKEST_MS {
        return false;
    }
    if bend.release.is_none() {
        // From where it comes within 10 cents of its top.
        let slow_end = rise.clone().rev().take_while(|&i| top - shape.smooth[i] <= BAND_CENTS).count();
        held_ms += slow_end as f64 * shape.hop_ms;
        if held_ms < LEAST_HELD_MS {
            return false;
        }
    }
    if held_ms >= 50.0 {
        return true;
    }
    let fall_ms = bend.release.as_ref().map_or(0.0, |fall| fall.len() as f64 * shape.hop_ms);
    let swings = |vibrato: &super::vibrato::Vibrato| {
        let period = (1000.0 / vibrato.rate_hz / shape.hop_ms) as usize;
        let beside = rise.start < vibrato.span.end + 2 * period && rise.end + 2 * period > vibrato.span.start;
        beside && size < 3.2 * vibrato.extent_cents
    };
    fall_ms >= QUICKEST_FALL_MS && !shape.vibratos.iter().any(swings) && stands_out(shape, bend, rise, end)
}

/// Whether a touched top stands on a level: the pitch stayed before the rise or stays after the fall. A voice glides on.
fn stands_out(shape: &Shape, bend: &Bend, rise: &Range<usize>, end: usize) -> bool {
    let near = |level: f64| move |cents: &&f64| (**cents - level).abs() <= BAND_CENTS;
    let from = shape.smooth[rise.start];
    let first = bend.before.as_ref().map_or(0, |before| before.start);
    let before = shape.smooth[first.min(rise.start)..rise.start].iter().rev().take_while(near(from)).count()
        + shape.smooth[rise.start..rise.end].iter().take_while(near(from)).count();
    before as f64 * shape.hop_ms >= LEVEL_BEFORE_MS || stays_after(shape, bend, end)
}

/// Whether the pitch stays where the release ends.
fn stays_after(shape: &Shape, bend: &Bend, end: usize) -> bool {
    let Some(landing) = &bend.landing else { return false };
    let turn = landing.start.min(shape.smooth.len() - 1);
    let level = shape.smooth[turn];
    let stays = |cents: &&f64| (**cents - level).abs() <= BAND_CENTS;
    let after = shape.smooth[turn..landing.end.clamp(turn, end.max(turn))].iter().take_while(stays).count();
    ms_between(shape, landed(shape, turn), turn + after) >= LEVEL_AFTER_MS
}

/// The first point of the landing that ends its fall at `turn`: within 10 cents of it.
fn landed(shape: &Shape, turn: usize) -> usize {
    let level = shape.smooth[turn.min(shape.smooth.len() - 1)];
    (0..turn).rev().take_while(|&i| (shape.smooth[i] - level).abs() <= BAND_CENTS).last().unwrap_or(turn)
}

fn ms_between(shape: &Shape, from: usize, to: usize) -> f64 {
    to.saturating_sub(from) as f64 * shape.hop_ms
}

fn is_dip(shape: &Shape, fall: &Movement, rise: &Movement) -> bool {
    (rise.to_cents - fall.from_cents).abs() < 30.0 && ms_between(shape, fall.span.end, rise.span.start) < DIP_MS
}

/// The bend that begins with the rise `moves[i]`, and the index of the first movement after it.
fn rising(shape: &Shape, moves: &[&Movement], i: usize, before: usize, end: usize) -> (Bend, usize) {
    let rise = moves[i];
    let mut hold_start = rise.span.end - 1;
    let mut top = rise.to_cents;
    let mut corrected = false;
    let mut first_stop_end = None;
    let mut last_end = rise.span.end - 1;
    let mut j = i + 1;
    while let Some(next) = moves.get(j) {
        let stop_ms = ms_between(shape, last_end, next.span.start);
        match next.kind {
            MovementKind::Fall if comes_back(shape, rise.from_cents, top, last_end, next, moves.get(j + 1).copied(), end) => {
                if first_stop_end.is_none() {
                    hold_start = next.span.end - 1;
                }
            }
            MovementKind::Fall if is_sag(shape, rise.from_cents, next, moves.get(j + 1).copied(), end) => {}
            MovementKind::Rise if stop_ms < SAME_BEND_STOP_MS || next.to_cents - next.from_cents < SAME_BEND_RISE_CENTS => {
                corrected = true;
                first_stop_end.get_or_insert(next.span.start);
                top = top.max(next.to_cents);
            }
            _ => break,
        }
        last_end = next.span.end - 1;
        j += 1;
    }
    let release = moves.get(j).filter(|m| m.kind == MovementKind::Fall);
    let hold_end = moves.get(j).map_or(end, |m| m.span.start + 1);
    let hold = hold_start..hold_end.max(hold_start + 1);
    let (release, landing, next) = let_down(shape, moves, release.map(|_| j), end);
    let bend = Bend {
        before: Some(before..rise.span.start + 1),
        rise: Some(rise.span.clone()),
        first_stop_end: first_stop_end.unwrap_or(hold.end),
        hold,
        corrected,
        release,
        landing,
    };
    (bend, next.unwrap_or(j).max(i + 1))
}

/// Whether a fall after a rise is an overshoot coming back: quick, at most half of the rise, and followed by a stay.
fn comes_back(shape: &Shape, from: f64, top: f64, top_at: usize, fall: &Movement, after: Option<&Movement>, end: usize) -> bool {
    let level = shape.smooth[usize::midpoint(top_at, fall.span.start)].max(top) - 10.0;
    let at_top = (top_at.saturating_sub(shape.hops(2.0 * OVERSHOOT_TOP_MS))..fall.span.end).filter(|&i| shape.smooth[i] >= level).count();
    let stays_until = after.map_or(end, |m| m.span.start);
    let stay = ms_between(shape, fall.span.end, stays_until);
    let (back, at_top_ms) = (fall.from_cents - fall.to_cents, at_top as f64 * shape.hop_ms);
    let is_small =
        back <= 0.5 * (top - from) && at_top_ms < OVERSHOOT_TOP_MS || back <= 0.35 * (top - from) && at_top_ms < 2.0 * OVERSHOOT_TOP_MS;
    is_small && stay >= 50.0
}

/// The release that begins with the fall `moves[j]`: further falls after a short stop belong to it. Gives the release, the landing
/// and the index after it.
fn let_down(
    shape: &Shape,
    moves: &[&Movement],
    j: Option<usize>,
    end: usize,
) -> (Option<Range<usize>>, Option<Range<usize>>, Option<usize>) {
    let Some(j) = j else { return (None, None, None) };
    let start = moves[j].span.start;
    let mut fall_end = moves[j].span.end;
    let mut next = j + 1;
    while let Some(further) = moves.get(next) {
        if further.kind != MovementKind::Fall || ms_between(shape, fall_end, further.span.start) >= SAME_BEND_STOP_MS {
            break;
        }
        fall_end = further.span.end;
        next += 1;
    }
    let until = moves.get(next).map_or(end, |m| m.span.start + 1);
    let landing = fall_end - 1..until.max(fall_end);
    (Some(start..fall_end), Some(landing), Some(next))
}

/// A note that is held from its attack and then falls, to stay there: bent before it was picked.
fn pre_bend(shape: &Shape, moves: &[&Movement], settled: usize, end: usize) -> Option<(Bend, usize)> {
    let fall = moves[0];
    let is_large = fall.from_cents - fall.to_cents >= LARGE_FALL_CENTS;
    let least_ms = if is_large { LARGE_FALL_HOLD_MS } else { PRE_BEND_HOLD_MS };
    if ms_between(shape, settled, fall.span.start) < least_ms - 30.0 {
        return None;
    }
    if moves.get(1).is_some_and(|rise| rise.kind == MovementKind::Rise && is_dip(shape, fall, rise)) {
        return None;
    }
    let (release, landing, next) = let_down(shape, moves, Some(0), end);
    let hold = settled..fall.span.start + 1;
    let bend = Bend { before: None, rise: None, first_stop_end: hold.end, hold, corrected: false, release, landing };
    stays_after(shape, &bend, end).then(|| (bend, next.unwrap_or(1)))
}
