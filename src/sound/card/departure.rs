//! What the output's callback does: copy out of the ring, and count what was not there.

use super::stamps::Stamps;
use crate::units::SampleRate;
use ringbuf::HeapCons;
use ringbuf::traits::{Consumer, Observer};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::{Duration, Instant};

/// How long the sound takes to go when it is told to, s.
const HUSH_S: f64 = 0.02;

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
    longest_wait: AtomicU64,
    hushed: AtomicBool,
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
            longest_wait: zero(),
            hushed: AtomicBool::new(false),
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

    /// The longest time between two callbacks since this was last asked: where it is longer than what the card holds, the card ran dry, because its
    /// thread or the sound server came late.
    #[must_use]
    pub fn take_longest_wait(&self) -> Duration {
        Duration::from_nanos(self.longest_wait.swap(0, Ordering::Relaxed))
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

    /// Fades out what is in the ring, at once and for good: however far ahead it was filled, an end is heard as one.
    pub fn hush(&self) {
        self.hushed.store(true, Ordering::Relaxed);
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
    /// What is left of the sound once it was hushed, and how much goes with each frame.
    gain: f32,
    step: f32,
    /// When it was called last.
    called: Option<Instant>,
}

impl Departure {
    /// Plays what is in `ring` (one channel, at `rate`) on all `channels`.
    #[must_use]
    pub fn new(ring: HeapCons<f32>, pulse: Arc<PlayPulse>, rate: SampleRate, channels: u16) -> Self {
        let step = (1.0 / (HUSH_S * rate.as_f64())) as f32;
        Self { ring, pulse, channels: usize::from(channels.max(1)), frame: 0, owed: 0, gain: 1.0, step, called: None }
    }

    /// What to tell from the error callback.
    #[must_use]
    pub fn pulse(&self) -> Arc<PlayPulse> {
        Arc::clone(&self.pulse)
    }

    /// Fills one callback's samples, the first of which is heard in `ahead` from now. Neither allocates, locks nor waits.
    pub fn give<T: Copy>(&mut self, ahead: Duration, interleaved: &mut [T], convert: impl Fn(f32) -> T) {
        let now = Instant::now();
        if let Some(before) = self.called.replace(now) {
            self.pulse.longest_wait.fetch_max((now - before).as_nanos() as u64, Ordering::Relaxed);
        }
        self.pulse.stamps.put_now(self.frame, ahead.as_nanos() as i64);
        let start = self.pulse.start_at.load(Ordering::Acquire);
        self.owed -= self.ring.skip(self.owed.min(self.ring.occupied_len()));
        let hushed = self.pulse.hushed.load(Ordering::Relaxed);
        let mut missing = 0;
        for frame in interleaved.chunks_mut(self.channels) {
            let sample = if self.frame < start || self.owed > 0 { None } else { self.ring.try_pop() };
            if sample.is_none() && self.frame >= start {
                missing += 1;
                self.owed += 1;
            }
            if hushed {
                self.gain = (self.gain - self.step).max(0.0);
            }
            frame.fill(convert(sample.unwrap_or(0.0) * self.gain));
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
        let mut departure = Departure::new(out, Arc::default(), SampleRate::new(48_000).unwrap(), 2);
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

    #[test]
    fn what_was_put_in_far_ahead_is_faded_out_at_once_when_it_is_hushed() {
        let (mut into, out) = HeapRb::<f32>::new(48_000).split();
        into.push_slice(&vec![0.5; 48_000]);
        let mut departure = Departure::new(out, Arc::default(), SampleRate::new(48_000).unwrap(), 1);
        let pulse = departure.pulse();
        pulse.start_at(0);
        let mut play = |frames: usize| {
            let mut block = vec![9.0_f32; frames];
            departure.give(Duration::ZERO, &mut block, |sample| sample);
            block
        };
        assert_eq!(play(1000), [0.5; 1000]);
        pulse.hush();
        let last = play(2000);
        assert!(last.windows(2).all(|pair| pair[0] >= pair[1] && pair[0] - pair[1] < 0.001), "it goes without a step");
        assert!(last[970..].iter().all(|sample| *sample == 0.0), "and is gone within 20 ms");
        assert_eq!(pulse.missing(), 0);
    }
}
