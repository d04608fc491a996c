//! A stream that goes faster than time is no sound card: a device that swallows or makes up sound as fast as it is asked has no instants, and fills a disk in minutes.

use crate::units::SampleRate;
use std::time::{Duration, Instant};

/// A real card is off by some thousandths at most; converters between rates get them wrong by a tenth.
const FASTER: f64 = 1.5;

/// A card that was opened, or slept, hands over at once what it has held back. That time has passed by the clock too, but for what it held before it was opened, s.
const HELD_S: f64 = 1.0;

/// It may hold back so many of its buffers, whatever they hold.
const HELD_BUFFERS: f64 = 3.0;

/// How long a stream is looked at before it is believed. One that knows no time has given seconds by then.
pub(super) const FIRST_LOOK: Duration = Duration::from_millis(60);

/// One stream's.
#[derive(Clone, Copy, Debug)]
pub(super) struct Pace {
    opened: Instant,
    rate: SampleRate,
    held_s: f64,
}

impl Pace {
    /// A stream that was opened at an instant, before its first frame, with so many frames a callback: as asked for, or as the system says.
    pub(super) fn since(opened: Instant, rate: SampleRate, buffer: Option<u32>) -> Self {
        let held_s = HELD_S.max(HELD_BUFFERS * f64::from(buffer.unwrap_or(0)) / rate.as_f64());
        Self { opened, rate, held_s }
    }

    /// Whether so many frames since it was opened are more than time allows.
    pub(super) fn is_too_fast(&self, frames: u64, now: Instant) -> bool {
        let passed_s = now.saturating_duration_since(self.opened).as_secs_f64();
        frames as f64 / self.rate.as_f64() > FASTER * passed_s + self.held_s
    }

    /// Looks at a stream that has just been opened for [`FIRST_LOOK`]; whether it is too fast.
    pub(super) fn is_too_fast_at_first(&self, frames: impl Fn() -> u64) -> bool {
        let begun = Instant::now();
        while begun.elapsed() < FIRST_LOOK {
            if self.is_too_fast(frames(), Instant::now()) {
                return true;
            }
            std::thread::sleep(Duration::from_millis(5));
        }
        false
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn twice_as_fast_is_noticed_in_seconds_and_a_burst_after_an_outage_is_not() {
        let opened = Instant::now();
        let pace = Pace::since(opened, SampleRate::new(48_000).unwrap(), Some(256));
        let at = |seconds: f64, frames: f64| pace.is_too_fast((frames * 48_000.0) as u64, opened + Duration::from_secs_f64(seconds));
        assert!(!at(0.01, 0.9) && !at(10.0, 10.9) && !at(3600.0, 3610.0));
        assert!(at(2.5, 5.0) && at(0.06, 3.0));
    }

    #[test]
    fn the_first_buffers_of_a_card_may_be_long_ones() {
        let opened = Instant::now();
        let pace = Pace::since(opened, SampleRate::new(44_100).unwrap(), Some(65_536));
        let at = |seconds: f64, buffers: u64| pace.is_too_fast(buffers * 65_536, opened + Duration::from_secs_f64(seconds));
        // One lasts 1.49 s; two are asked for when a stream begins.
        assert!(!at(0.005, 1) && !at(0.01, 2) && !at(1.5, 3));
        assert!(at(0.06, 4) && at(20.0, 40));
    }
}
