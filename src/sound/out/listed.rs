//! Events that are known beforehand, and beats that never drift.

use super::{Event, Part};
use crate::units::{FrameSpan, FrameTime, SampleRate};

/// A part that hands out a list.
#[derive(Clone, Debug, Default)]
pub struct Listed {
    events: Vec<Event>,
    next: usize,
}

impl Listed {
    /// `events` in any order; those of one frame keep theirs.
    #[must_use]
    pub fn new(mut events: Vec<Event>) -> Self {
        events.sort_by_key(|event| event.at);
        Self { events, next: 0 }
    }
}

impl Part for Listed {
    fn events(&mut self, until: FrameTime, emit: &mut dyn FnMut(Event)) {
        while let Some(event) = self.events.get(self.next).filter(|event| event.at < until) {
            emit(*event);
            self.next += 1;
        }
    }

    fn is_over(&self) -> bool {
        self.next == self.events.len()
    }
}

/// The frame of beat `n` after `first`, for beats of `beat_s` seconds: `round(n * beat_s * rate)`, from `n` each time, so that no error adds up
/// however long it goes on.
#[must_use]
pub fn beat_frame(first: FrameTime, n: u64, beat_s: f64, rate: SampleRate) -> FrameTime {
    first + FrameSpan((n as f64 * beat_s * rate.as_f64()).round().max(0.0) as u64)
}
