//! What the audio callback does: copy into the ring, and count.

use super::stamps::Stamps;
use crate::sound::RingWriter;
use crate::units::SampleRate;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::{Duration, Instant};

/// A jump of the capture clock by more than this is lost sound. Less is the clock's own unsteadiness (measured: under 3 ms without load,
/// 60 ms with every processor busy); an overrun that the system reports is believed from [`AFTER_OVERRUN`] on.
const JUMP: Duration = Duration::from_millis(100);
/// See [`JUMP`].
const AFTER_OVERRUN: Duration = Duration::from_millis(3);
/// So far is the capture clock's line moved towards what it says, of the time that passes: no card's own clock is further off, and a moment's unsteadiness
/// moves it by nothing. Were it followed at once, a clock that falls back and comes again would be taken for lost sound.
const FOLLOWED: f64 = 0.01;
/// A clock that falls back by more than this, s, was set anew.
const SET_ANEW_S: f64 = 1.0;

/// What callbacks and watcher share: atomics only.
#[derive(Debug)]
pub struct Pulse {
    begun: Instant,
    last_arrival: AtomicU64,
    errors: AtomicU64,
    overrun: AtomicBool,
    stamps: Stamps,
}

impl Default for Pulse {
    fn default() -> Self {
        Self {
            begun: Instant::now(),
            last_arrival: AtomicU64::new(0),
            errors: AtomicU64::new(0),
            overrun: AtomicBool::new(false),
            stamps: Stamps::default(),
        }
    }
}

impl Pulse {
    /// An error came from the audio library; some mean nothing. For the error callback: neither allocates nor waits.
    pub fn count_error(&self) {
        self.errors.fetch_add(1, Ordering::Relaxed);
    }

    /// The library lost sound. For the error callback: neither allocates nor waits.
    pub fn count_overrun(&self) {
        self.overrun.store(true, Ordering::Relaxed);
    }

    /// Errors so far.
    #[must_use]
    pub fn errors(&self) -> u64 {
        self.errors.load(Ordering::Relaxed)
    }

    /// When which frame was captured, where the card tells.
    #[must_use]
    pub fn stamps(&self) -> &Stamps {
        &self.stamps
    }

    /// When sound last arrived.
    #[must_use]
    pub fn last_arrival(&self) -> Option<Instant> {
        let nanoseconds = self.last_arrival.load(Ordering::Relaxed);
        (nanoseconds > 0).then(|| self.begun + Duration::from_nanos(nanoseconds))
    }
}

/// The state of one stream's callback.
pub struct Arrival {
    ring: RingWriter,
    pulse: Arc<Pulse>,
    rate: SampleRate,
    channels: usize,
    /// The capture clock's time for the next frame, s.
    expected_s: Option<f64>,
    /// Frames so far, lost ones included.
    frame: u64,
    /// How long ago the first frame of this callback was captured.
    late: Option<Duration>,
}

impl Arrival {
    /// Feeds `ring`, whose format is `rate` and `channels`.
    #[must_use]
    pub fn new(ring: RingWriter, pulse: Arc<Pulse>, rate: SampleRate, channels: u16) -> Self {
        Self { ring, pulse, rate, channels: usize::from(channels.max(1)), expected_s: None, frame: 0, late: None }
    }

    /// What to tell from the error callback.
    #[must_use]
    pub fn pulse(&self) -> Arc<Pulse> {
        Arc::clone(&self.pulse)
    }

    /// The first frame of the samples that are taken next was captured so long ago. Neither allocates, locks nor waits.
    pub fn stamp(&mut self, late: Duration) {
        self.late = Some(late);
    }

    /// Takes one callback's samples, whose first frame was captured at `captured` on the card's clock. Neither allocates, locks nor waits.
    pub fn take(&mut self, captured: Duration, interleaved: impl ExactSizeIterator<Item = f32>) {
        let least = if self.pulse.overrun.swap(false, Ordering::Relaxed) { AFTER_OVERRUN } else { JUMP };
        let frames = interleaved.len() / self.channels;
        let (captured_s, took_s) = (captured.as_secs_f64(), frames as f64 / self.rate.as_f64());
        let expected_s = self.expected_s.unwrap_or(captured_s);
        let ahead_s = captured_s - expected_s;
        let begins_s = if ahead_s > least.as_secs_f64() {
            let lost = self.rate.span(ahead_s).0;
            self.ring.lose(lost);
            self.frame += lost;
            captured_s
        } else if ahead_s < -SET_ANEW_S {
            captured_s
        } else {
            expected_s + ahead_s.clamp(-FOLLOWED * took_s, FOLLOWED * took_s)
        };
        self.expected_s = Some(begins_s + took_s);
        if let Some(late) = self.late.take() {
            self.pulse.stamps.put_now(self.frame, -(late.as_nanos() as i64));
        }
        self.ring.write(interleaved);
        self.frame += frames as u64;
        let now = self.pulse.begun.elapsed().as_nanos() as u64;
        self.pulse.last_arrival.store(now.max(1), Ordering::Relaxed);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sound::{Format, Heard, RingSource, Source, ring};

    fn arrival() -> (Arrival, RingSource) {
        let rate = SampleRate::new(48000).unwrap();
        let (writer, source) = ring(Format { rate, channels: 2 }, 10.0);
        (Arrival::new(writer, Arc::default(), rate, 2), source)
    }

    fn lost(source: &mut RingSource) -> u64 {
        let (mut lost, mut buffer) = (0, vec![0.0; 4096]);
        loop {
            match source.next(&mut buffer).unwrap() {
                Heard::Filled(_) => {}
                Heard::Lost(frames) => lost += frames,
                Heard::Waiting | Heard::Ended => return lost,
            }
        }
    }

    /// 480 frames each 10 ms, moved by what `late` says.
    fn play(arrival: &mut Arrival, late: impl Fn(u32) -> f64) {
        for n in 0..100 {
            arrival.take(Duration::from_secs_f64(f64::from(n).mul_add(0.01, 1.0 + late(n))), (0..960).map(|_| 0.1));
        }
    }

    #[test]
    fn an_unsteady_capture_clock_loses_nothing() {
        let (mut arrival, mut source) = arrival();
        play(&mut arrival, |n| f64::from(n % 7) * 0.008);
        assert_eq!(lost(&mut source), 0);
    }

    #[test]
    fn a_capture_clock_that_falls_back_and_comes_again_loses_nothing() {
        let (mut arrival, mut source) = arrival();
        play(&mut arrival, |n| if (40..60).contains(&n) { -0.15 } else { 0.0 });
        assert_eq!(lost(&mut source), 0);
    }

    #[test]
    fn a_card_whose_clock_is_a_thousandth_off_loses_nothing_and_what_it_does_lose_is_told() {
        for drift in [0.001, -0.001] {
            let (mut arrival, mut source) = arrival();
            let mut second = |n: u32, later_s: f64| {
                let at_s = f64::from(n).mul_add(1.0 + drift, 1.0 + later_s);
                arrival.take(Duration::from_secs_f64(at_s), (0..96_000).map(|_| 0.1));
                lost(&mut source)
            };
            // After 200 s the clock and the frames are 0.2 s apart.
            assert!((0..200).all(|n| second(n, 0.0) == 0), "{drift}");
            // What is lost then is told to the millisecond by which the clock went astray since it was last looked at.
            assert!(second(200, 0.5).abs_diff(24_000) <= 49, "{drift}");
        }
    }

    #[test]
    fn a_jump_of_the_capture_clock_is_lost_sound_of_that_length() {
        let (mut arrival, mut source) = arrival();
        play(&mut arrival, |n| if n < 50 { 0.0 } else { 1.5 });
        assert_eq!(lost(&mut source), 72000);
    }

    #[test]
    fn a_clock_that_was_set_anew_tells_what_is_lost_from_then_on() {
        let (mut arrival, mut source) = arrival();
        play(&mut arrival, |n| {
            if n < 50 {
                20.0
            } else if n < 80 {
                0.0
            } else {
                0.5
            }
        });
        assert_eq!(lost(&mut source), 24_000);
    }

    #[test]
    fn a_reported_overrun_is_measured_by_the_clock() {
        let (mut arrival, mut source) = arrival();
        play(&mut arrival, |_| 0.0);
        arrival.pulse().count_overrun();
        arrival.take(Duration::from_secs_f64(2.02), (0..960).map(|_| 0.1));
        assert_eq!(lost(&mut source), 960);
    }
}
