//! What the output's callback does: copy out of the ring, and count what was not there.

use super::stamps::Stamps;
use ringbuf::HeapCons;
use ringbuf::traits::{Consumer, Observer};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

/// Not yet known.
const NEVER: u64 = u64::MAX;

/// What the output's callback, the one who fills the ring, and the watcher share: atomics only.
#[derive(Debug)]
pub struct PlayPulse {
    played: AtomicU64,
    missing: AtomicU64,
    errors: AtomicU64,
    underruns: AtomicU64,
    start_at: AtomicU64,
    stamps: Stamps,
}

impl Default for PlayPulse {
    fn default() -> Self {
        let zero = || AtomicU64::new(0);
        Self {
            played: zero(),
            missing: zero(),
            errors: zero(),
            underruns: zero(),
            start_at: AtomicU64::new(NEVER),
            stamps: Stamps::default(),
        }
    }
}

impl PlayPulse {
    /// Frames that the card has asked for since it was opened, silent ones included: the stream's own time.
    #[must_use]
    pub fn played(&self) -> u64 {
        self.played.load(Ordering::Acquire)
    }

    /// Frames since [`Self::start_at`] for which nothing was in the ring: silence was played instead.
    #[must_use]
    pub fn missing(&self) -> u64 {
        self.missing.load(Ordering::Relaxed)
    }

    /// Errors that the library told of, some of which mean nothing.
    #[must_use]
    pub fn errors(&self) -> u64 {
        self.errors.load(Ordering::Relaxed)
    }

    /// Underruns that the library told of.
    #[must_use]
    pub fn underruns(&self) -> u64 {
        self.underruns.load(Ordering::Relaxed)
    }

    /// When which frame is heard.
    #[must_use]
    pub fn stamps(&self) -> &Stamps {
        &self.stamps
    }

    /// The ring's first sample belongs to this frame of the stream; until then it plays silence. Set once, before the ring is filled.
    pub fn start_at(&self, frame: u64) {
        self.start_at.store(frame, Ordering::Release);
    }

    /// For the error callback: neither allocates nor waits.
    pub fn count_error(&self) {
        self.errors.fetch_add(1, Ordering::Relaxed);
    }

    /// For the error callback: neither allocates nor waits.
    pub fn count_underrun(&self) {
        self.underruns.fetch_add(1, Ordering::Relaxed);
    }
}

/// The state of one output stream's callback. What comes into the ring too late is thrown away, so that everything after it is heard in its own frame.
pub struct Departure {
    ring: HeapCons<f32>,
    pulse: Arc<PlayPulse>,
    channels: usize,
    frame: u64,
    /// Samples that were not there in time and are thrown away when they come.
    owed: usize,
}

impl Departure {
    /// Plays what is in `ring` (one channel) on all `channels`.
    #[must_use]
    pub fn new(ring: HeapCons<f32>, pulse: Arc<PlayPulse>, channels: u16) -> Self {
        Self { ring, pulse, channels: usize::from(channels.max(1)), frame: 0, owed: 0 }
    }

    /// What to tell from the error callback.
    #[must_use]
    pub fn pulse(&self) -> Arc<PlayPulse> {
        Arc::clone(&self.pulse)
    }

    /// Fills one callback's samples, the first of which is heard in `ahead` from now. Neither allocates, locks nor waits.
    pub fn give<T: Copy>(&mut self, ahead: Duration, interleaved: &mut [T], convert: impl Fn(f32) -> T) {
        self.pulse.stamps.put_now(self.frame, ahead.as_nanos() as i64);
        let start = self.pulse.start_at.load(Ordering::Acquire);
        self.owed -= self.ring.skip(self.owed.min(self.ring.occupied_len()));
        let mut missing = 0;
        for frame in interleaved.chunks_mut(self.channels) {
            let sample = if self.frame < start || self.owed > 0 { None } else { self.ring.try_pop() };
            if sample.is_none() && self.frame >= start {
                missing += 1;
                self.owed += 1;
            }
            frame.fill(convert(sample.unwrap_or(0.0)));
            self.frame += 1;
        }
        if missing > 0 {
            self.pulse.missing.fetch_add(missing, Ordering::Relaxed);
        }
        self.pulse.played.store(self.frame, Ordering::Release);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use ringbuf::HeapRb;
    use ringbuf::traits::{Producer, Split};

    #[test]
    fn what_comes_too_late_is_thrown_away_and_the_rest_keeps_its_frame() {
        let (mut into, out) = HeapRb::<f32>::new(100).split();
        let mut departure = Departure::new(out, Arc::default(), 2);
        let pulse = departure.pulse();
        let mut play = |frames: usize| {
            let mut block = vec![9.0_f32; frames * 2];
            departure.give(Duration::ZERO, &mut block, |sample| sample);
            assert!(block.chunks(2).all(|frame| frame[0].to_bits() == frame[1].to_bits()), "both channels alike");
            block.chunks(2).map(|frame| frame[0]).collect::<Vec<f32>>()
        };
        assert_eq!(play(3), [0.0; 3]);
        pulse.start_at(5);
        into.push_slice(&[5.0, 6.0, 7.0]);
        assert_eq!(play(4), [0.0, 0.0, 5.0, 6.0]);
        assert_eq!(play(4), [7.0, 0.0, 0.0, 0.0]);
        into.push_slice(&[8.0, 9.0]);
        assert_eq!(play(1), [0.0]);
        into.push_slice(&[10.0, 11.0, 12.0, 13.0]);
        assert_eq!(play(2), [12.0, 13.0]);
        assert_eq!((pulse.played(), pulse.missing()), (14, 4));
    }
}
