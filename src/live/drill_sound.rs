//! What a drill sounds: the note to reach, an answer for those who do not look, the last bend again. No attempt opens meanwhile. A click goes on beside
//! all of it, and is the speaker's own matter.

use super::speaker::{Begin, Ear, Speaker};
use crate::grading::{Attempt, counted_error};
use crate::practice::replay::replay;
use crate::practice::tones::{self, Tone};
use crate::sound::out::Event;
use crate::units::{A4, SampleRate};

/// What is sounded after an attempt.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum After {
    /// The note that should have been reached.
    Target,
    /// Sharp or flat and how much, then the note.
    Answer,
}

impl std::str::FromStr for After {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        match text {
            "target" => Ok(Self::Target),
            "answer" => Ok(Self::Answer),
            _ => Err("it is target or answer".to_owned()),
        }
    }
}

impl After {
    /// The tones after a bend of a size (cents) to a target that it was off by an error.
    fn events(self, (target, error): (f64, f64), size: Option<f64>, tolerance: f64, tone: Tone, rate: SampleRate, a4: A4) -> Vec<Event> {
        match self {
            Self::Target => tones::reference(target, tone, rate, a4),
            // Inside the zone of a quarter curl nothing is flat or sharp.
            Self::Answer => tones::answer(target, counted_error(size, error), tolerance, rate, a4),
        }
    }
}

/// Sounds through a speaker.
pub struct DrillSound {
    speaker: Speaker,
    /// `None`: nothing but a click.
    after: Option<After>,
    tone: Tone,
    a4: A4,
}

/// A click or a tone that is cut off in mid-swing cracks.
impl Drop for DrillSound {
    fn drop(&mut self) {
        self.speaker.end();
    }
}

impl DrillSound {
    /// Through a speaker.
    #[must_use]
    pub fn new(speaker: Speaker, after: Option<After>, a4: A4) -> Self {
        Self { speaker, after, tone: Tone::default(), a4 }
    }

    /// With another tone for the note to reach.
    #[must_use]
    pub fn toned(mut self, tone: Tone) -> Self {
        self.tone = tone;
        self
    }

    /// Whether tones are sounded, not a click alone.
    #[must_use]
    pub fn has_tones(&self) -> bool {
        self.after.is_some()
    }

    /// The note to reach, in so many seconds.
    pub fn reference(&self, target_cents: f64, in_s: f64) {
        self.say(&tones::reference(target_cents, self.tone, self.speaker.rate(), self.a4), in_s);
    }

    /// What follows an attempt; how long it lasts, s.
    #[must_use]
    pub fn after(&self, attempt: &Attempt) -> f64 {
        let rate = self.speaker.rate();
        let Some((target, error)) = attempt.target_cents.zip(attempt.measures.hold_error_cents) else { return 0.0 };
        let Some(after) = self.after else { return 0.0 };
        let events = after.events((target, error), attempt.bend_cents, attempt.tolerance_cents, self.tone, rate, self.a4);
        self.say(&events, 0.1);
        0.1 + tones::length_s(&events, rate)
    }

    /// The last bend along its pitch (seconds of the take and cents), and then as it should be; how long that lasts, s. `None` where there is nothing to
    /// sound again.
    #[must_use]
    pub fn replay(&self, attempt: &Attempt, readings: &[(f64, f64)]) -> Option<f64> {
        let replayed = replay(attempt, readings, self.speaker.rate(), self.a4)?;
        let lasts_s = 0.1 + replayed.length_s();
        self.speaker.begin(Begin { part: Box::new(replayed), beats: None, in_s: 0.1, ear: Ear::Closed });
        Some(lasts_s)
    }

    /// A sentence that the player should know.
    #[must_use]
    pub fn notice(&self) -> Option<String> {
        self.speaker.notice()
    }

    fn say(&self, events: &[Event], in_s: f64) {
        for event in events {
            self.speaker.say(*event, in_s + event.at.seconds(self.speaker.rate()), Ear::Closed);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quarter_curl_within_its_zone_is_answered_by_the_note_alone() {
        let rate = SampleRate::new(48_000).unwrap();
        let tones =
            |error: f64, size: f64| After::Answer.events((7050.0, error), Some(size), 10.0, Tone::default(), rate, A4::default()).len();
        // 27 and 68 cents over the fret are within 25 to 70; 10 and 85 are not. A whole step has no zone.
        assert_eq!([-23.0, 18.0, -40.0, 35.0].map(|error| tones(error, 50.0)), [1, 1, 2, 2]);
        assert_eq!(tones(-23.0, 200.0), 2);
    }
}
