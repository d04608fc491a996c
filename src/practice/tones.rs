//! landfall's own tones in a drill, as events for the mixer: the note to reach, and an answer for those who do not look.
//!
//! Conventions. Times are frames of the output, from the instant at which the tones may begin. While they sound, and 0.2 s after, no attempt
//! opens: [`length_s`] says how long that is.

use crate::sound::out::{Event, Voice};
use crate::units::{A4, FrameTime, SampleRate};

/// The note to reach sounds for so long, s.
const REFERENCE_S: f64 = 1.2;
/// Each of the two tones of an answer, s.
const ANSWER_S: f64 = 0.28;
/// An answer's first tone is this many times as far from the note as the bend was: a cent cannot be heard, ten can.
const LARGER: f64 = 10.0;
/// No farther than an octave.
const FARTHEST_CENTS: f64 = 1200.0;
/// From tone to tone, s.
const GAP_S: f64 = 0.06;
/// Under the level of the player.
const GAIN: f32 = 0.5;

/// With what the note to reach sounds.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Tone {
    /// As a string does: it dies away.
    #[default]
    Plucked,
    /// As loud as it began until its end.
    Sustained,
}

impl std::str::FromStr for Tone {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        match text {
            "plucked" => Ok(Self::Plucked),
            "sustained" => Ok(Self::Sustained),
            _ => Err("it is plucked or sustained".to_owned()),
        }
    }
}

/// Puts tones one after the other.
struct Row {
    events: Vec<Event>,
    rate: SampleRate,
    a4: A4,
    at_s: f64,
}

impl Row {
    fn new(rate: SampleRate, a4: A4) -> Self {
        Self { events: Vec::new(), rate, a4, at_s: 0.0 }
    }

    fn tone(mut self, cents: f64, seconds: f64, voice: Voice) -> Self {
        let at = FrameTime(self.rate.span(self.at_s).0);
        let hz = self.a4.hz_of(cents);
        self.events.push(Event { at, length: self.rate.span(seconds), voice, hz, gain: GAIN });
        self.at_s += seconds + GAP_S;
        self
    }
}

/// The note to reach (cents on the MIDI scale), at its exact pitch.
#[must_use]
pub fn reference(target_cents: f64, tone: Tone, rate: SampleRate, a4: A4) -> Vec<Event> {
    let voice = match tone {
        Tone::Plucked => Voice::Pluck,
        Tone::Sustained => Voice::Sustained,
    };
    Row::new(rate, a4).tone(target_cents, REFERENCE_S, voice).events
}

/// An answer to an attempt that was off by `error_cents`: a tone as far to the same side as the bend was, ten times larger, then the note itself.
/// Within the tolerance the note alone: flat steps up to the note, sharp steps down to it, right stays.
#[must_use]
pub fn answer(target_cents: f64, error_cents: f64, tolerance_cents: f64, rate: SampleRate, a4: A4) -> Vec<Event> {
    let row = Row::new(rate, a4);
    let row = if error_cents.abs() > tolerance_cents {
        let away = (LARGER * error_cents).clamp(-FARTHEST_CENTS, FARTHEST_CENTS);
        row.tone(target_cents + away, ANSWER_S, Voice::Sustained)
    } else {
        row
    };
    row.tone(target_cents, ANSWER_S, Voice::Sustained).events
}

/// How long tones sound, s.
#[must_use]
pub fn length_s(events: &[Event], rate: SampleRate) -> f64 {
    events.iter().map(|event| (event.at + event.length).seconds(rate)).fold(0.0, f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rate() -> SampleRate {
        SampleRate::new(48_000).unwrap()
    }

    /// Cents of each tone against the note to reach.
    fn steps(events: &[Event], target_cents: f64) -> Vec<i64> {
        let cents = |hz: f64| 6900.0 + 1200.0 * (hz / 440.0).log2() - target_cents;
        events.iter().map(|event| cents(event.hz).round() as i64).collect()
    }

    #[test]
    fn the_note_to_reach_is_at_its_exact_pitch() {
        let events = reference(6900.0, Tone::default(), rate(), A4::default());
        assert!((events[0].hz - 440.0).abs() < 1e-9 && events.len() == 1 && events[0].at == FrameTime(0));
        let hz = reference(6900.0, Tone::default(), rate(), A4::new(442.0).unwrap())[0].hz;
        assert!((hz - 442.0).abs() < 1e-9);
        let voice = |tone: &str| reference(6900.0, tone.parse().unwrap(), rate(), A4::default())[0].voice;
        assert_eq!((voice("plucked"), voice("sustained")), (Voice::Pluck, Voice::Sustained));
    }

    #[test]
    fn flat_steps_up_to_the_note_sharp_steps_down_and_right_stays() {
        let answered = |error| steps(&answer(6900.0, error, 10.0, rate(), A4::default()), 6900.0);
        assert_eq!(answered(-14.0), [-140, 0]);
        assert_eq!(answered(31.0), [310, 0]);
        assert_eq!(answered(-400.0), [-1200, 0]);
        assert_eq!(answered(9.0), [0]);
    }
}
