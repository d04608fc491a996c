//! A file or the synthesiser on the card's way: through the ring, from a thread of its own.

use super::clock::Clock;
use crate::sound::{Heard, RingSource, RingWriter, Source, ring};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

/// How fast a file is played.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pace {
    /// As it was played. What the analysis does not fetch in time is lost, as from a card.
    AsPlayed,
    /// As fast as it is analysed; nothing is lost.
    Fast,
}

/// When it is further behind than this, the program was stopped: it goes on from there instead of hurrying after.
const STOPPED: Duration = Duration::from_millis(300);

/// Starts a thread that plays `source` into a ring of `ring_s` seconds, until the source ends or `stop` is set.
#[must_use]
pub fn feed(source: Box<dyn Source>, pace: Pace, ring_s: f64, clock: Arc<dyn Clock>, stop: Arc<AtomicBool>) -> RingSource {
    let (writer, reader) = ring(source.format(), ring_s);
    std::thread::spawn(move || Feeder { source, writer, pace, clock, stop }.run());
    reader
}

struct Feeder {
    source: Box<dyn Source>,
    writer: RingWriter,
    pace: Pace,
    clock: Arc<dyn Clock>,
    stop: Arc<AtomicBool>,
}

impl Feeder {
    fn run(mut self) {
        let format = self.source.format();
        let channels = usize::from(format.channels.max(1));
        let frames = match self.pace {
            Pace::AsPlayed => format.rate.span(0.01).0.max(1) as usize,
            Pace::Fast => 4096,
        };
        let mut buffer = vec![0.0; frames * channels];
        let mut begun = self.clock.now();
        let mut played = 0_u64;
        while !self.stop.load(Ordering::Relaxed) {
            let given = match self.source.next(&mut buffer) {
                Ok(Heard::Filled(count)) => {
                    self.wait_for_room(count / channels);
                    self.writer.write(buffer[..count].iter().copied());
                    (count / channels) as u64
                }
                Ok(Heard::Lost(lost)) => {
                    self.writer.lose(lost);
                    lost
                }
                Ok(Heard::Waiting) => {
                    self.clock.wait(Duration::from_millis(2));
                    0
                }
                Ok(Heard::Ended) => return,
                Err(error) => return self.writer.break_off(error),
            };
            played += given;
            if self.pace == Pace::AsPlayed {
                let due = begun + Duration::from_secs_f64(played as f64 / format.rate.as_f64());
                let now = self.clock.now();
                if now > due + STOPPED {
                    begun += now.saturating_sub(due);
                }
                self.clock.wait(due.saturating_sub(now));
            }
        }
    }

    fn wait_for_room(&self, frames: usize) {
        while self.pace == Pace::Fast && self.writer.room() < frames && !self.stop.load(Ordering::Relaxed) {
            self.clock.wait(Duration::from_micros(200));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::live::clock::SystemClock;
    use crate::sound::{Format, SoundError};
    use crate::units::SampleRate;

    /// Counts frames, with a loss of 100 after the first 1000.
    struct Counting {
        next: u32,
        until: u32,
        lost: bool,
    }

    impl Source for Counting {
        fn format(&self) -> Format {
            Format { rate: SampleRate::new(48000).unwrap(), channels: 1 }
        }

        fn next(&mut self, out: &mut [f32]) -> Result<Heard, SoundError> {
            if self.next == 1000 && !self.lost {
                self.lost = true;
                self.next += 100;
                return Ok(Heard::Lost(100));
            }
            let end = if self.next < 1000 { 1000 } else { self.until };
            let count = out.len().min((end - self.next) as usize);
            for sample in &mut out[..count] {
                *sample = self.next as f32;
                self.next += 1;
            }
            Ok(if count == 0 { Heard::Ended } else { Heard::Filled(count) })
        }
    }

    /// Everything, with `None` for each lost frame; waits so long before each read.
    fn heard(pace: Pace, until: u32, ring_s: f64, slow: Duration) -> (Vec<Option<u32>>, Duration) {
        let clock = Arc::new(SystemClock::default());
        let mut source = feed(Box::new(Counting { next: 0, until, lost: false }), pace, ring_s, clock.clone(), Arc::default());
        let (mut all, mut buffer) = (Vec::new(), vec![0.0; 512]);
        loop {
            std::thread::sleep(slow);
            match source.next(&mut buffer).unwrap() {
                Heard::Filled(count) => all.extend(buffer[..count].iter().map(|sample| Some(*sample as u32))),
                Heard::Lost(frames) => all.extend((0..frames).map(|_| None)),
                Heard::Waiting => {}
                Heard::Ended => return (all, clock.now()),
            }
        }
    }

    fn wanted(until: u32) -> Vec<Option<u32>> {
        (0..until).map(|frame| (!(1000..1100).contains(&frame)).then_some(frame)).collect()
    }

    #[test]
    fn a_fast_file_waits_for_a_slow_analysis_and_loses_nothing() {
        assert_eq!(heard(Pace::Fast, 60_000, 0.1, Duration::from_micros(300)).0, wanted(60_000));
    }

    #[test]
    fn a_file_at_playing_speed_takes_as_long_as_it_was_played() {
        let (all, took) = heard(Pace::AsPlayed, 24_000, 1.0, Duration::from_millis(1));
        assert_eq!(all, wanted(24_000));
        assert!(took >= Duration::from_millis(480), "half a second took {took:?}");
    }

    #[test]
    fn a_file_at_playing_speed_that_nobody_fetches_is_lost_like_a_cards_sound_at_its_place() {
        let (all, _) = heard(Pace::AsPlayed, 24_000, 0.05, Duration::from_millis(60));
        assert_eq!(all.len(), 24_000, "every frame is heard or lost");
        let lost = all.iter().filter(|frame| frame.is_none()).count();
        assert!(lost > 2000, "only {lost} frames were lost");
        assert!(all.iter().enumerate().all(|(n, frame)| frame.is_none_or(|frame| frame as usize == n)));
    }
}
