//! The pitch of one note over time, as the hands make it: a closed formula, so that truth is known at every instant.
//!
//! Conventions. Time is seconds from the note's attack, pitch is cents on the MIDI scale. The fret, the bend and the vibrato are kept apart
//! and added; the glide of an attack belongs to the attack (see [`super::string`]) and is not in here.

use std::f64::consts::PI;

use super::scenario::{Gesture, Note, Scenario, Shape, Swing};

/// Seconds that a hammer-on or a step of a slide takes to speak: under the 15 ms that tell it from a bend.
const STEP_S: f64 = 0.004;

/// A way from one value to another and what follows it.
#[derive(Clone, Copy, Debug)]
struct Leg {
    start: f64,
    lasts: f64,
    from: f64,
    to: f64,
    shape: Shape,
    /// Cents a second after the way's end.
    drift: f64,
}

impl Leg {
    fn at(&self, t: f64) -> f64 {
        let past = t - self.start;
        if past >= self.lasts {
            return self.to + self.drift * (past - self.lasts);
        }
        let x = past / self.lasts;
        let share = match self.shape {
            Shape::S => 0.5 - 0.5 * (PI * x).cos(),
            Shape::Straight => x,
            Shape::Early => 1.0 - (1.0 - x) * (1.0 - x),
            Shape::Late => x * x,
        };
        self.from + (self.to - self.from) * share
    }
}

/// A value that stays, but for the legs that move it.
#[derive(Clone, Debug)]
struct Way {
    before: f64,
    legs: Vec<Leg>,
}

impl Way {
    fn at(&self, t: f64) -> f64 {
        self.legs.iter().rev().find(|leg| leg.start <= t).map_or(self.before, |leg| leg.at(t))
    }

    fn go(&mut self, start: f64, lasts: f64, to: f64, shape: Shape, drift: f64) {
        let from = self.at(start);
        self.legs.push(Leg { start, lasts, from, to, shape, drift });
    }
}

#[derive(Clone, Copy, Debug)]
struct Shake {
    start: f64,
    until: f64,
    rate: f64,
    half_width: f64,
    swing: Swing,
    fade: f64,
}

impl Shake {
    fn at(&self, t: f64) -> f64 {
        if t < self.start || t > self.until {
            return 0.0;
        }
        let ramp = |past: f64| if self.fade > 0.0 { (past / self.fade).clamp(0.0, 1.0) } else { 1.0 };
        let width = self.half_width * ramp(t - self.start) * ramp(self.until - t);
        let turn = 2.0 * PI * self.rate * (t - self.start);
        width
            * match self.swing {
                Swing::Both => turn.sin(),
                Swing::Above => 1.0 - turn.cos(),
                Swing::Below => turn.cos() - 1.0,
            }
    }
}

/// What the hands do to one note.
#[derive(Clone, Debug)]
pub struct Curve {
    fret: Way,
    bend: Way,
    shakes: Vec<Shake>,
}

impl Curve {
    /// The curve of `note`, which ends `ends` seconds after its attack.
    #[must_use]
    pub(super) fn of(scenario: &Scenario, note: &Note, ends: f64) -> Self {
        let mut fret = Way { before: 100.0 * scenario.midi(note.string, note.fret) + note.detune_cents, legs: Vec::new() };
        let mut bend = Way { before: note.pre_bend_cents, legs: Vec::new() };
        let mut shakes = Vec::new();
        for (index, gesture) in note.gestures.iter().enumerate() {
            match *gesture {
                Gesture::Bend { at_s, cents, takes_ms, shape, overshoot_cents, settle_ms, drift_cents_per_s } => {
                    let top = cents + overshoot_cents * cents.signum();
                    let lasts = takes_ms / 1000.0;
                    if overshoot_cents > 0.0 {
                        bend.go(at_s, lasts, top, shape, 0.0);
                        bend.go(at_s + lasts, settle_ms / 1000.0, cents, Shape::S, drift_cents_per_s);
                    } else {
                        bend.go(at_s, lasts, cents, shape, drift_cents_per_s);
                    }
                }
                Gesture::Release { at_s, lands_cents, takes_ms, shape } => {
                    bend.go(at_s, takes_ms / 1000.0, lands_cents, shape, 0.0);
                }
                Gesture::Vibrato { at_s, until_s, rate_hz, half_width_cents, swing, fade_ms } => {
                    let next_move = note.gestures[index + 1..]
                        .iter()
                        .find(|next| matches!(next, Gesture::Bend { .. } | Gesture::Release { .. }))
                        .map_or(ends, Gesture::at_s);
                    let until = until_s.unwrap_or(next_move);
                    shakes.push(Shake { start: at_s, until, rate: rate_hz, half_width: half_width_cents, swing, fade: fade_ms / 1000.0 });
                }
                Gesture::Hammer { at_s, to_fret } => {
                    let to = 100.0 * scenario.midi(note.string, to_fret) + note.detune_cents;
                    fret.go(at_s, STEP_S, to, Shape::S, 0.0);
                }
                Gesture::Slide { at_s, to_fret, takes_ms } => {
                    let to = 100.0 * scenario.midi(note.string, to_fret) + note.detune_cents;
                    let from = fret.at(at_s);
                    let steps = ((to - from).abs() / 100.0).round().max(1.0);
                    let each = takes_ms / 1000.0 / steps;
                    for step in 1..=steps as u32 {
                        let reached = from + (to - from) * f64::from(step) / steps;
                        // The last step ends when the slide does.
                        let start = at_s + each * f64::from(step) - STEP_S.min(each);
                        fret.go(start, STEP_S.min(each), reached, Shape::S, 0.0);
                    }
                }
                Gesture::Pick { .. } => {}
            }
        }
        Self { fret, bend, shakes }
    }

    /// The pitch.
    #[must_use]
    pub fn cents(&self, t: f64) -> f64 {
        self.fret.at(t) + self.bend.at(t) + self.shakes.iter().map(|shake| shake.at(t)).sum::<f64>()
    }

    /// The pitch with the vibrato taken out.
    #[must_use]
    pub fn steady_cents(&self, t: f64) -> f64 {
        self.fret.at(t) + self.bend.at(t)
    }

    /// The pitch of the fretted note without any bend.
    #[must_use]
    pub fn fret_cents(&self, t: f64) -> f64 {
        self.fret.at(t)
    }
}
