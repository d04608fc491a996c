//! A drone: a note to hear one's own against, for as long as one likes.

use crate::sound::out::{Event, Part, Voice};
use crate::theory::NoteName;
use crate::units::{A4, FrameSpan, FrameTime, SampleRate};

/// C3: the root lies in the octave from here up, under the soloist.
const LOWEST: i32 = 48;

const GAIN: f32 = 0.3;

/// Twenty-four hours: longer than anybody practises.
const FOR_EVER_S: f64 = 86_400.0;

/// A root, alone or with its fifth.
#[derive(Clone, Debug)]
pub struct Drone {
    events: Vec<Event>,
}

impl Drone {
    /// From the beginning of the output on, for `seconds`, or for ever. The fifth is an equal-tempered one, as everything that landfall
    /// measures by: against it a bend is right when it is right.
    #[must_use]
    pub fn new(root: NoteName, with_fifth: bool, seconds: Option<f64>, a4: A4, rate: SampleRate) -> Self {
        let midi = LOWEST + (root.class() - LOWEST).rem_euclid(12);
        let length: FrameSpan = rate.span(seconds.unwrap_or(FOR_EVER_S));
        let event =
            |midi: i32, gain: f32| Event { at: FrameTime(0), length, voice: Voice::Sustained, hz: a4.hz_of(100.0 * f64::from(midi)), gain };
        let mut events = vec![event(midi, GAIN)];
        if with_fifth {
            events.push(event(midi + 7, GAIN * 0.7));
        }
        Self { events }
    }
}

impl Part for Drone {
    fn events(&mut self, until: FrameTime, emit: &mut dyn FnMut(Event)) {
        if until > FrameTime(0) {
            self.events.drain(..).for_each(emit);
        }
    }

    fn is_over(&self) -> bool {
        self.events.is_empty()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_drone_is_its_root_and_fifth_from_the_first_frame_on() {
        let rate = SampleRate::new(48_000).unwrap();
        let mut drone = Drone::new("D".parse().unwrap(), true, Some(2.0), A4::default(), rate);
        let mut events = Vec::new();
        drone.events(FrameTime(0), &mut |event| events.push(event));
        assert!(events.is_empty() && !drone.is_over());
        drone.events(FrameTime(1), &mut |event| events.push(event));
        // D3 and A3: 440 Hz * 2^((50 - 69) / 12) and 440 / 2.
        assert!((events[0].hz - 146.8324).abs() < 5e-5 && (events[1].hz - 220.0).abs() < 1e-9, "{events:?}");
        assert!(events.iter().all(|event| event.length == FrameSpan(96_000)) && drone.is_over());
    }
}
