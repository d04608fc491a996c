//! The one clock, handed in from outside.

use crate::logbook::PlayedAt;
use jiff::Timestamp;
use jiff::tz::TimeZone;
use std::time::{Duration, Instant};

/// Time as the session needs it: how long since it began, what the calendar says, and waiting.
pub trait Clock: Send + Sync {
    /// Since some fixed instant.
    fn now(&self) -> Duration;

    /// What the player's calendar and clock say.
    fn calendar(&self) -> PlayedAt;

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

    fn calendar(&self) -> PlayedAt {
        let now = Timestamp::now();
        PlayedAt::new(now, TimeZone::system().to_offset(now))
    }

    fn wait(&self, span: Duration) {
        std::thread::sleep(span);
    }
}
