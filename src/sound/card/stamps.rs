//! When which frame passed the card: written by a callback, read by whoever fits a clock to it. Atomics only.

use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

/// So many are kept for a reader that is late: over a second of callbacks of 5 ms.
const KEPT: usize = 256;

/// A frame of a stream and the instant at which it is at the connector: when it was captured, or will be played.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stamp {
    /// Counted from the stream's first frame, lost ones included.
    pub frame: u64,
    /// As the card tells it.
    pub at: Instant,
}

/// The latest stamps of one stream. One writer, any number of readers.
#[derive(Debug)]
pub struct Stamps {
    begun: Instant,
    /// Frames and signed nanoseconds since `begun`.
    places: Box<[(AtomicU64, AtomicU64)]>,
    written: AtomicU64,
}

impl Default for Stamps {
    fn default() -> Self {
        let places = (0..KEPT).map(|_| (AtomicU64::new(0), AtomicU64::new(0))).collect();
        Self { begun: Instant::now(), places, written: AtomicU64::new(0) }
    }
}

impl Stamps {
    /// For the callback: neither allocates, locks nor waits. `at` is now and `off_ns` nanoseconds.
    pub fn put_now(&self, frame: u64, off_ns: i64) {
        let now = self.begun.elapsed().as_nanos() as i64;
        self.put(frame, now + off_ns);
    }

    fn put(&self, frame: u64, nanoseconds: i64) {
        let number = self.written.load(Ordering::Relaxed);
        let (frames, times) = &self.places[number as usize % KEPT];
        frames.store(frame, Ordering::Relaxed);
        times.store(nanoseconds as u64, Ordering::Relaxed);
        self.written.store(number + 1, Ordering::Release);
    }

    /// Hands out what was written since `read` stamps had been, and counts on. What a late reader missed is left out.
    pub fn read(&self, read: &mut u64, emit: &mut dyn FnMut(Stamp)) {
        let written = self.written.load(Ordering::Acquire);
        *read = (*read).max(written.saturating_sub(KEPT as u64 / 2));
        while *read < written {
            let (frames, times) = &self.places[*read as usize % KEPT];
            let (frame, nanoseconds) = (frames.load(Ordering::Relaxed), times.load(Ordering::Relaxed) as i64);
            // The writer may have come round meanwhile: then this was no stamp.
            std::sync::atomic::fence(Ordering::Acquire);
            if self.written.load(Ordering::Relaxed) < *read + KEPT as u64 - 1 {
                let length = Duration::from_nanos(nanoseconds.unsigned_abs());
                let at = if nanoseconds < 0 { self.begun.checked_sub(length) } else { self.begun.checked_add(length) };
                if let Some(at) = at {
                    emit(Stamp { frame, at });
                }
            }
            *read += 1;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_reader_sees_each_stamp_once_and_a_late_one_the_newest() {
        let stamps = Stamps::default();
        let (mut read, mut seen) = (0, Vec::new());
        stamps.put(5, -2_000_000);
        stamps.put(6, 3);
        stamps.read(&mut read, &mut |stamp| seen.push(stamp));
        assert_eq!(seen[0].frame, 5);
        assert_eq!(seen[1].at - seen[0].at, Duration::from_nanos(2_000_003));
        for n in 0..1000 {
            stamps.put(n, 0);
        }
        seen.clear();
        stamps.read(&mut read, &mut |stamp| seen.push(stamp));
        assert_eq!((seen.len(), seen[127].frame), (128, 999));
        stamps.read(&mut read, &mut |_| unreachable!("nothing is new"));
    }
}
