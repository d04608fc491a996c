//! Which frame of the take which frame of the card's stream is: a take begins with its first sound, and goes on over streams that were opened again.

use super::Pulse;
use crate::units::SampleRate;
use std::sync::{Arc, Mutex, PoisonError};

/// As it is now.
#[derive(Clone, Debug)]
pub struct TakeNow {
    /// Which take of the run, from 1.
    pub take: u64,
    /// The frame of the take that is the stream's frame 0.
    pub offset: i64,
    /// The stream, with its stamps.
    pub pulse: Arc<Pulse>,
    /// Frames a second of both.
    pub rate: SampleRate,
}

/// Told by the takes of a card, read by whoever needs to know; never by the callback.
#[derive(Clone, Debug, Default)]
pub struct TakeTime(Arc<Mutex<Option<TakeNow>>>);

impl TakeTime {
    /// As it is now; `None` before the first sound.
    #[must_use]
    pub fn now(&self) -> Option<TakeNow> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    pub(super) fn set(&self, take: u64, offset: i64, pulse: &Arc<Pulse>, rate: SampleRate) {
        let mut now = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        match &*now {
            Some(now) if now.take == take && now.offset == offset && Arc::ptr_eq(&now.pulse, pulse) => {}
            _ => *now = Some(TakeNow { take, offset, pulse: Arc::clone(pulse), rate }),
        }
    }
}
