//! The one clock, handed in from outside.

use crate::logbook::PlayedAt;
use jiff::Timestamp;
use jiff::tz::{Offset, TimeZone};
use std::time::{Duration, Instant};

/// Time as the session needs it: how long since it began, what the calendar says, and waiting.
pub trait Clock: Send + Sync {
    /// Since some fixed instant.
    fn now(&self) -> Duration;

    /// The instant, and how far the player's clock is ahead of UTC.
    fn instant(&self) -> (Timestamp, Offset);

    /// What the player's calendar and clock say.
    fn calendar(&self) -> PlayedAt {
        let (instant, offset) = self.instant();
        PlayedAt::new(instant, offset)
    }

    /// Waits.
    fn wait(&self, span: Duration);
}

/// The machine's.
#[derive(Debug)]
pub struct SystemClock(Instant);

impl Default for SystemClock {
    fn default() -> Self {
        Self(Instant::now())
    }
}

impl Clock for SystemClock {
    fn now(&self) -> Duration {
        self.0.elapsed()
    }

    fn instant(&self) -> (Timestamp, Offset) {
        let now = Timestamp::now();
        (now, TimeZone::system().to_offset(now))
    }

    fn wait(&self, span: Duration) {
        std::thread::sleep(span);
    }
}
