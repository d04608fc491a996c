//! Tones made of partials, each a turning pointer: exact in pitch for as long as it sounds.

use super::envelope::{Envelope, GONE, fall_over};
use crate::units::SampleRate;
use std::f64::consts::TAU;

/// At most so many.
const MOST: usize = 10;

/// One partial of a recipe: multiple of the pitch, level, and seconds until it is 60 dB down (infinite: stays).
pub(super) type Ingredient = (f64, f64, f64);

/// A plucked string: partial k begins at 1/k^1.2 (a pick about a fifth from the bridge has little of the 5th and 10th) and dies away the faster
/// the higher it is. Common practice, no source.
pub(super) const PLUCK: &[Ingredient] = &[
    (1.0, 0.45, 4.0),
    (2.0, 0.30, 3.0),
    (3.0, 0.16, 2.2),
    (4.0, 0.09, 1.6),
    (5.0, 0.02, 1.2),
    (6.0, 0.05, 0.9),
    (7.0, 0.04, 0.7),
    (8.0, 0.03, 0.6),
];
/// A tone to tune to: four partials, so that it is heard on small loudspeakers and beats against a string's own.
pub(super) const SUSTAINED: &[Ingredient] =
    &[(1.0, 0.55, f64::INFINITY), (2.0, 0.22, f64::INFINITY), (3.0, 0.10, f64::INFINITY), (4.0, 0.05, f64::INFINITY)];
/// A round bass.
pub(super) const BASS: &[Ingredient] = &[(1.0, 0.60, 2.5), (2.0, 0.25, 1.2), (3.0, 0.10, 0.6), (4.0, 0.04, 0.4)];
/// A soft keyed chord tone; several sound at once.
pub(super) const COMP: &[Ingredient] = &[(1.0, 0.30, 3.0), (2.0, 0.10, 1.5), (3.0, 0.05, 0.8), (4.0, 0.03, 0.5)];

#[derive(Clone, Copy, Debug, Default)]
struct Partial {
    at: (f64, f64),
    turn: (f64, f64),
    level: f64,
    fall: f64,
}

/// A tone that sounds.
#[derive(Clone, Copy, Debug)]
pub(super) struct Tone {
    partials: [Partial; MOST],
    count: usize,
    envelope: Envelope,
}

impl Tone {
    /// `recipe` at `hz`; partials that the rate cannot hold are left out.
    pub(super) fn new(recipe: &[Ingredient], hz: f64, rate: SampleRate, envelope: Envelope) -> Self {
        let mut tone = Self { partials: [Partial::default(); MOST], count: 0, envelope };
        for (multiple, level, lasts_s) in recipe.iter().take(MOST) {
            let turns = multiple * hz / rate.as_f64();
            // A little below half the rate: nothing folds back.
            if !(turns > 0.0 && turns < 0.47) {
                continue;
            }
            let fall = if lasts_s.is_finite() { fall_over(rate.span(*lasts_s).0) } else { 1.0 };
            let (sin, cos) = (TAU * turns).sin_cos();
            // From the first step on, so that the first frame sounds.
            tone.partials[tone.count] = Partial { at: (cos, sin), turn: (cos, sin), level: *level, fall };
            tone.count += 1;
        }
        tone
    }

    /// The next sample; `None` once it is over.
    pub(super) fn next(&mut self) -> Option<f64> {
        let gain = self.envelope.next()?;
        let (mut sum, mut loudest) = (0.0, 0.0_f64);
        for partial in &mut self.partials[..self.count] {
            sum += partial.level * partial.at.1;
            loudest = loudest.max(partial.level);
            let ((c, s), (tc, ts)) = (partial.at, partial.turn);
            partial.at = (c * tc - s * ts, s * tc + c * ts);
            partial.level *= partial.fall;
        }
        (loudest > GONE * 0.3).then_some(sum * gain)
    }
}
