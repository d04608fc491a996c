//! A stroke at the pitch that is held goes on with the bend: two notes of the finder are one attempt.

use super::look::{Look, SETTLED_MS};
use super::played::Played;
use crate::notes::statistics::median;
use crate::notes::{Cause, Ending, MovementKind, Note};
use crate::units::FrameTime;

/// The window of the last readings of a note reaches into the next attack: so much does not count, ms.
const BEFORE_NEXT_MS: f64 = 12.0;

/// An attack at the held pitch within this continues the attempt, cents.
const REPICK_NEAR_CENTS: f64 = 30.0;

/// The held pitch is that of the last and of the first so many ms around the stroke.
const HELD_MS: f64 = 40.0;

/// A repick follows the held note within this, s.
pub(super) const REPICK_GAP_S: f64 = 0.12;

/// Strokes during the hold.
pub(super) fn repicks_in(note: &Note, played: &Played) -> u32 {
    let within = |at: &&FrameTime| {
        let position = note.contour.position(**at);
        position >= played.hold.from && position <= played.hold.to
    };
    note.repicks.iter().filter(within).count() as u32
}

/// Whether a note ends with a stroke while a bend is held, or has only just been made.
pub(super) fn is_held(note: &Note, loudest_dbfs: f32) -> bool {
    if !matches!(note.ending, Ending::NextNote | Ending::LetGo) {
        return false;
    }
    let Some(look) = Look::at(note, loudest_dbfs) else { return false };
    let made = look.shape.moves.last().is_some_and(|last| {
        last.kind == MovementKind::Rise && (look.end - last.span.end.min(look.end)) as f64 * look.shape.hop_ms < JUST_MADE_MS
    });
    made || look.bends.last().is_some_and(|bend| bend.release.is_none())
}

/// A rise that ended so shortly before a stroke is held by it, ms.
const JUST_MADE_MS: f64 = 60.0;

/// Whether the next note is a stroke at the pitch that is held.
pub(super) fn continues(held: &Note, next: &Note) -> bool {
    if next.cause != Cause::Pick || next.onset.since(held.end).seconds(held.contour.rate()) > REPICK_GAP_S {
        return false;
    }
    let (Some(before), Some(after)) = (Look::at(held, f32::NEG_INFINITY), Look::at(next, f32::NEG_INFINITY)) else { return false };
    let (late, early) = (before.shape.hops(HELD_MS), after.shape.hops(HELD_MS));
    let last = median(&before.shape.curve[before.end.saturating_sub(late)..before.end]);
    let first = median(&after.shape.curve[after.settled..(after.settled + early).min(after.end)]);
    last.zip(first).is_some_and(|(last, first)| (last - first).abs() <= REPICK_NEAR_CENTS)
}

/// Two notes as one: the pitch around the stroke, which the stroke hides, is left unknown and bridged.
pub(super) fn joined(held: Note, next: &Note) -> Note {
    let hop = held.contour.hop();
    let mut contour = held.contour.part(0..held.contour.len().saturating_sub(held.contour.hops(BEFORE_NEXT_MS).round() as usize));
    let settled = (next.contour.position(next.onset) + next.contour.hops(SETTLED_MS)).max(0.0) as usize;
    let begin = (next.contour.start().since(contour.start()).0 / hop.0) as usize + settled;
    while contour.len() < begin {
        contour.push_hidden();
    }
    for point in next.contour.points().skip(settled) {
        contour.push(point.cents, point.clarity, point.level_dbfs);
    }
    let mut repicks = held.repicks;
    repicks.push(next.onset);
    Note { onset: held.onset, end: next.end, cause: held.cause, ending: next.ending, contour, repicks }
}
