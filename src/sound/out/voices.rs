//! Every voice behind one door: begun by an event, asked sample by sample.

use super::envelope::Envelope;
use super::partials::{BASS, COMP, Ingredient, PLUCK, SUSTAINED, Tone};
use super::rhythm::{ACCENT, CLICK, HAT, KICK, Recipe, SNARE, SWEEP_S, Stroke, sweep};
use super::{Event, Voice};
use crate::units::{FrameSpan, SampleRate};

/// What a voice is made of.
enum Made {
    Tone { recipe: &'static [Ingredient], rise_s: f64, release_s: f64 },
    Stroke(Recipe),
    Sweep,
}

fn made(voice: Voice) -> Made {
    match voice {
        Voice::Click => Made::Stroke(CLICK),
        Voice::Accent => Made::Stroke(ACCENT),
        Voice::Kick => Made::Stroke(KICK),
        Voice::Snare => Made::Stroke(SNARE),
        Voice::Hat => Made::Stroke(HAT),
        Voice::Pluck => Made::Tone { recipe: PLUCK, rise_s: 0.001, release_s: 0.12 },
        Voice::Sustained => Made::Tone { recipe: SUSTAINED, rise_s: 0.03, release_s: 0.12 },
        Voice::Bass => Made::Tone { recipe: BASS, rise_s: 0.004, release_s: 0.1 },
        Voice::Comp => Made::Tone { recipe: COMP, rise_s: 0.004, release_s: 0.15 },
        Voice::Sweep => Made::Sweep,
    }
}

/// See [`Event::heard`].
pub(super) fn heard(event: &Event, rate: SampleRate) -> FrameSpan {
    match made(event.voice) {
        Made::Stroke(recipe) => rate.span(recipe.lasts_s),
        Made::Sweep => rate.span(SWEEP_S),
        Made::Tone { recipe, release_s, .. } => {
            let dies = recipe.iter().map(|(_, _, lasts_s)| *lasts_s).fold(0.0, f64::max);
            let held = FrameSpan(event.length.0.saturating_add(rate.span(release_s).0));
            if dies.is_finite() { held.min(rate.span(dies)) } else { held }
        }
    }
}

/// A voice that sounds.
#[derive(Clone, Copy, Debug)]
#[expect(
    clippy::large_enum_variant,
    reason = "voices live in places that are there from the start: a box would be an allocation at each event"
)]
enum Inside {
    Tone(Tone),
    Stroke(Stroke),
    Sweep(u64),
}

/// One event, sounding.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sounding {
    inside: Inside,
    gain: f64,
    rate: SampleRate,
    /// Counts up from event to event: the oldest gives way.
    pub(super) number: u64,
}

impl Sounding {
    pub(super) fn new(event: &Event, rate: SampleRate, number: u64) -> Self {
        let inside = match made(event.voice) {
            Made::Tone { recipe, rise_s, release_s } => {
                let envelope = Envelope::new(rate.span(rise_s).0, event.length.0, rate.span(release_s).0);
                Inside::Tone(Tone::new(recipe, event.hz, rate, envelope))
            }
            // From what is struck, not from when: the same part begun elsewhere is the same sound, so that it can be taken out of what is heard.
            Made::Stroke(recipe) => {
                let seed = u64::from(event.gain.to_bits()) << 8 ^ event.length.0 << 40 ^ (event.voice as u64) << 56;
                Inside::Stroke(Stroke::new(recipe, rate, seed))
            }
            Made::Sweep => Inside::Sweep(0),
        };
        let gain = if event.gain.is_finite() { f64::from(event.gain.clamp(0.0, 1.0)) } else { 0.0 };
        Self { inside, gain, rate, number }
    }

    /// Adds to `out`; whether there is more.
    pub(super) fn add_to(&mut self, out: &mut [f32]) -> bool {
        for sample in out {
            let next = match &mut self.inside {
                Inside::Tone(tone) => tone.next(),
                Inside::Stroke(stroke) => stroke.next(),
                Inside::Sweep(frame) => {
                    *frame += 1;
                    sweep(*frame - 1, self.rate)
                }
            };
            let Some(next) = next else { return false };
            *sample += (next * self.gain) as f32;
        }
        true
    }
}
