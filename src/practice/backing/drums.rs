//! The drums: one and three below, two and four above, and what lies between them. In half time the backbeat is on three.

use super::{Bar, Motion, Struck};
use crate::sound::out::Voice;

const KICK: f32 = 0.6;
const SNARE: f32 = 0.38;
const HAT: f32 = 0.14;
const BETWEEN: f32 = 0.08;

/// What the drums play in a bar.
pub(super) fn strokes(bar: &Bar<'_>) -> Vec<Struck> {
    let beats = bar.beats();
    let each = bar.pulse.counts_a_beat();
    let mut strokes = Vec::new();
    let mut add = |position: f64, voice: Voice, gain: f32| strokes.push(Struck { position, until: position + 0.25, voice, midi: 0, gain });
    for beat in 0..beats {
        match place(bar, beat) {
            Place::Low => add(f64::from(beat), Voice::Kick, KICK),
            Place::Back => add(f64::from(beat), Voice::Snare, SNARE),
            Place::Soft => add(f64::from(beat), Voice::Snare, SNARE * 0.4),
            Place::None => {}
        }
        for count in 0..each {
            add(f64::from(beat) + f64::from(count) / f64::from(each), Voice::Hat, if count == 0 { HAT } else { BETWEEN });
        }
    }
    strokes
}

enum Place {
    Low,
    Back,
    Soft,
    None,
}

fn place(bar: &Bar<'_>, beat: u32) -> Place {
    let beats = bar.beats();
    let groups = bar.pulse.metre.groups();
    if beat == 0 {
        return Place::Low;
    }
    if bar.motion() == Motion::Groups || !groups.is_empty() {
        return if bar.pulse.metre.is_group_start(beat) { Place::Back } else { Place::None };
    }
    let back = match (beats, bar.half_time) {
        // A waltz, and bars of three dotted quarters.
        (3, _) => return Place::Soft,
        (2, false) => beat == 1,
        (2, true) => false,
        (5, false) => beat == 3,
        (_, true) => beat == beats / 2,
        (_, false) => beat % 2 == 1,
    };
    match back {
        true => Place::Back,
        false if !bar.half_time && beat.is_multiple_of(2) => Place::Low,
        false => Place::None,
    }
}
