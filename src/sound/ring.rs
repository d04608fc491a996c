//! From the thread that the sound arrives on to the one that analyses: a ring that never blocks, and whose losses are exact.
//!
//! [`RingWriter::write`] and [`RingWriter::lose`] neither allocate nor lock nor wait, so an audio callback may call them. What does not fit
//! is dropped whole frames at a time and reported at its place: a loss is announced through a second ring before the sound that follows it,
//! so that the reader cannot see the one without the other.

use super::{Format, Heard, SoundError, Source};
use ringbuf::traits::{Consumer, Observer, Producer, Split};
use ringbuf::{HeapCons, HeapProd, HeapRb};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, OnceLock};

/// Losses that may wait to be read; when there are more, sound is dropped until one has been read.
const LOSSES: usize = 256;

/// `frames` were lost after `after` frames of this ring.
#[derive(Clone, Copy, Debug)]
struct Loss {
    after: u64,
    frames: u64,
}

/// What both ends see.
#[derive(Debug, Default)]
struct Shared {
    /// Frames that came to the writer, kept or dropped.
    arrived: AtomicU64,
    /// Frames that the writer knows to be lost.
    lost: AtomicU64,
    /// Lost after the last frame; valid once `ended` is set.
    lost_at_end: AtomicU64,
    ended: AtomicBool,
    error: OnceLock<SoundError>,
}

/// The end that sound comes in at. Dropping it ends the sound.
pub struct RingWriter {
    samples: HeapProd<f32>,
    losses: HeapProd<Loss>,
    shared: Arc<Shared>,
    channels: usize,
    written: u64,
    /// Lost since the last frame written, not yet announced.
    pending: u64,
}

/// The end that the analysis reads: a [`Source`].
pub struct RingSource {
    samples: HeapCons<f32>,
    losses: HeapCons<Loss>,
    shared: Arc<Shared>,
    format: Format,
    read: u64,
    told_lost: u64,
}

/// Counts for those who watch a ring without reading it.
#[derive(Clone, Debug)]
pub struct RingGauge {
    shared: Arc<Shared>,
}

/// A ring of `seconds`, at least one frame.
#[must_use]
pub fn ring(format: Format, seconds: f64) -> (RingWriter, RingSource) {
    let channels = usize::from(format.channels.max(1));
    let frames = format.rate.span(seconds).0.max(1) as usize;
    let (samples_in, samples_out) = HeapRb::new(frames * channels).split();
    let (losses_in, losses_out) = HeapRb::new(LOSSES).split();
    let shared = Arc::new(Shared::default());
    let writer = RingWriter { samples: samples_in, losses: losses_in, shared: Arc::clone(&shared), channels, written: 0, pending: 0 };
    (writer, RingSource { samples: samples_out, losses: losses_out, shared, format, read: 0, told_lost: 0 })
}

impl RingWriter {
    /// Takes interleaved samples, whole frames; what does not fit is lost and counted. Never waits.
    pub fn write(&mut self, interleaved: impl ExactSizeIterator<Item = f32>) {
        let frames = interleaved.len() / self.channels;
        self.shared.arrived.fetch_add(frames as u64, Ordering::Relaxed);
        let room = frames.min(self.room());
        // Only when sound will follow: a ring that stays full makes one loss, not one a call.
        let kept = if room > 0 && self.announce() { room } else { 0 };
        self.samples.push_iter(interleaved.take(kept * self.channels));
        self.written += kept as u64;
        self.count_lost((frames - kept) as u64);
    }

    /// `frames` frames never came: the card skipped, or a test says so. Never waits.
    pub fn lose(&mut self, frames: u64) {
        self.count_lost(frames);
    }

    /// Frames that fit now; those who can wait ask first.
    #[must_use]
    pub fn room(&self) -> usize {
        self.samples.vacant_len() / self.channels
    }

    /// Ends the sound with an error for the reader. Allocates nothing, but is no business of a callback.
    pub fn break_off(self, error: SoundError) {
        // The cell is fresh: only the writer sets it, and only here, where it is given up.
        let _ = self.shared.error.set(error);
    }

    /// Counts of this ring.
    #[must_use]
    pub fn gauge(&self) -> RingGauge {
        RingGauge { shared: Arc::clone(&self.shared) }
    }

    fn count_lost(&mut self, frames: u64) {
        self.pending += frames;
        self.shared.lost.fetch_add(frames, Ordering::Relaxed);
    }

    /// Whether no loss is waiting to be told.
    fn announce(&mut self) -> bool {
        if self.pending > 0 && self.losses.try_push(Loss { after: self.written, frames: self.pending }).is_ok() {
            self.pending = 0;
        }
        self.pending == 0
    }
}

impl Drop for RingWriter {
    fn drop(&mut self) {
        self.shared.lost_at_end.store(self.pending, Ordering::Relaxed);
        self.shared.ended.store(true, Ordering::Release);
    }
}

impl RingGauge {
    /// Frames that came to the writer so far, kept or dropped.
    #[must_use]
    pub fn arrived(&self) -> u64 {
        self.shared.arrived.load(Ordering::Relaxed)
    }

    /// Frames lost so far.
    #[must_use]
    pub fn lost(&self) -> u64 {
        self.shared.lost.load(Ordering::Relaxed)
    }

    /// Whether the writer is gone.
    #[must_use]
    pub fn ended(&self) -> bool {
        self.shared.ended.load(Ordering::Acquire)
    }
}

impl RingSource {
    /// Frames handed out so far, lost ones included.
    #[must_use]
    pub fn position(&self) -> u64 {
        self.read + self.told_lost
    }

    /// Counts of this ring.
    #[must_use]
    pub fn gauge(&self) -> RingGauge {
        RingGauge { shared: Arc::clone(&self.shared) }
    }
}

impl Source for RingSource {
    fn format(&self) -> Format {
        self.format
    }

    fn next(&mut self, out: &mut [f32]) -> Result<Heard, SoundError> {
        let channels = usize::from(self.format.channels.max(1));
        // In this order: whatever was written before the end is visible once the end is, and a loss once the sound behind it is.
        let ended = self.shared.ended.load(Ordering::Acquire);
        let waiting = self.samples.occupied_len();
        let mut frames = waiting.min(out.len()) / channels;
        if let Some(loss) = self.losses.try_peek().copied() {
            if loss.after == self.read {
                self.losses.try_pop();
                self.told_lost += loss.frames;
                return Ok(Heard::Lost(loss.frames));
            }
            frames = frames.min((loss.after - self.read) as usize);
        }
        if frames > 0 {
            let count = self.samples.pop_slice(&mut out[..frames * channels]);
            self.read += (count / channels) as u64;
            return Ok(Heard::Filled(count));
        }
        if !ended {
            return Ok(Heard::Waiting);
        }
        let lost = self.shared.lost_at_end.swap(0, Ordering::Relaxed);
        if lost > 0 {
            self.told_lost += lost;
            return Ok(Heard::Lost(lost));
        }
        match self.shared.error.get() {
            Some(error) => Err(error.clone()),
            None => Ok(Heard::Ended),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::SampleRate;
    use proptest::prelude::*;

    fn small(channels: u16, frames: u32) -> (RingWriter, RingSource) {
        ring(Format { rate: SampleRate::new(frames).unwrap(), channels }, 1.0)
    }

    /// What the reader says until it waits: the samples, with NaN for each lost frame.
    fn read(source: &mut RingSource, most: usize) -> Vec<f32> {
        let (mut said, mut buffer) = (Vec::new(), vec![0.0; most]);
        loop {
            match source.next(&mut buffer).unwrap() {
                Heard::Filled(count) => said.extend_from_slice(&buffer[..count]),
                Heard::Lost(frames) => said.extend((0..frames * u64::from(source.format.channels)).map(|_| f32::NAN)),
                Heard::Waiting | Heard::Ended => return said,
            }
        }
    }

    #[test]
    fn what_does_not_fit_is_a_loss_at_its_place() {
        let (mut writer, mut source) = small(1, 4);
        writer.write([1.0, 2.0, 3.0, 4.0, 5.0, 6.0].into_iter());
        writer.write([7.0].into_iter());
        let mut buffer = [0.0; 8];
        assert_eq!(source.next(&mut buffer).unwrap(), Heard::Filled(4));
        assert_eq!(source.next(&mut buffer).unwrap(), Heard::Waiting);
        writer.write([8.0].into_iter());
        assert_eq!(source.next(&mut buffer).unwrap(), Heard::Lost(3));
        assert_eq!(source.next(&mut buffer).unwrap(), Heard::Filled(1));
        assert_eq!(buffer[0].to_bits(), 8.0_f32.to_bits());
        assert_eq!((source.gauge().arrived(), source.gauge().lost()), (8, 3));
    }

    #[test]
    fn a_loss_at_the_end_is_told_before_the_end() {
        let (mut writer, mut source) = small(2, 4);
        writer.write([1.0, 2.0].into_iter());
        writer.lose(9);
        drop(writer);
        let mut buffer = [0.0; 8];
        assert_eq!(source.next(&mut buffer).unwrap(), Heard::Filled(2));
        assert_eq!(source.next(&mut buffer).unwrap(), Heard::Lost(9));
        assert_eq!(source.next(&mut buffer).unwrap(), Heard::Ended);
        assert_eq!(source.next(&mut buffer).unwrap(), Heard::Ended);
    }

    #[test]
    fn a_breakdown_is_told_after_what_was_heard() {
        let (mut writer, mut source) = small(1, 4);
        writer.write([1.0].into_iter());
        writer.break_off(SoundError::NoSound { path: "here".into(), reason: "told to".into() });
        let mut buffer = [0.0; 8];
        assert_eq!(source.next(&mut buffer).unwrap(), Heard::Filled(1));
        assert!(source.next(&mut buffer).is_err());
    }

    #[test]
    fn more_losses_than_can_wait_stay_exact() {
        let (mut writer, mut source) = small(1, 100_000);
        let mut wanted = Vec::new();
        for n in 0..1000_u16 {
            writer.write([f32::from(n)].into_iter());
            writer.lose(1);
        }
        writer.write([5.0].into_iter());
        let said = read(&mut source, 64);
        for n in 0..u16::try_from(LOSSES).unwrap() {
            wanted.extend([f32::from(n), f32::NAN]);
        }
        // The next sample found no place for the loss before it and was lost with it, and so all later ones.
        wanted.push(f32::from(u16::try_from(LOSSES).unwrap()));
        assert_eq!(said.iter().map(|x| x.to_bits()).collect::<Vec<_>>(), wanted.iter().map(|x| x.to_bits()).collect::<Vec<_>>());
        drop(writer);
        let rest = read(&mut source, 64);
        assert!(rest.iter().all(|sample| sample.is_nan()));
        assert_eq!(said.len() + rest.len(), 2001, "every frame is heard or lost");
    }

    proptest! {
        #[test]
        fn every_frame_is_heard_in_order_or_lost_at_its_place(
            channels in 1_u16..4, size in 1_u32..40, steps in prop::collection::vec((0_usize..30, 0_u64..5, 0_usize..60), 1..60)
        ) {
            let (mut writer, mut source) = small(channels, size);
            let (mut sent, mut said) = (Vec::new(), Vec::new());
            for (frames, lost, most) in steps {
                let fresh: Vec<f32> = (0..frames * usize::from(channels)).map(|n| (sent.len() + n) as f32).collect();
                writer.write(fresh.iter().copied());
                sent.extend(fresh);
                writer.lose(lost);
                sent.extend((0..lost * u64::from(channels)).map(|_| f32::NAN));
                if most >= usize::from(channels) {
                    said.extend(read(&mut source, most));
                }
            }
            drop(writer);
            said.extend(read(&mut source, 64));
            prop_assert_eq!(said.len(), sent.len());
            for (said, sent) in said.iter().zip(&sent) {
                prop_assert!(said.is_nan() || said.to_bits() == sent.to_bits());
            }
        }
    }

    #[test]
    fn two_threads_agree_on_every_frame() {
        let (mut writer, mut source) = small(2, 300);
        let sending = std::thread::spawn(move || {
            for block in 0..4000_u32 {
                writer.write((0..128).map(|n| (block * 64 + n / 2) as f32));
                if block % 7 == 0 {
                    std::thread::yield_now();
                }
            }
        });
        let (mut time, mut lost, mut buffer) = (0_u64, 0, vec![0.0; 100]);
        loop {
            match source.next(&mut buffer).unwrap() {
                Heard::Filled(count) => {
                    for frame in buffer[..count].chunks(2) {
                        assert_eq!([frame[0].to_bits(), frame[1].to_bits()], [(time as f32).to_bits(); 2], "frame {time}");
                        time += 1;
                    }
                }
                Heard::Lost(frames) => {
                    time += frames;
                    lost += frames;
                }
                Heard::Waiting => std::hint::spin_loop(),
                Heard::Ended => break,
            }
        }
        sending.join().unwrap();
        assert_eq!((time, lost), (256_000, source.gauge().lost()));
    }
}
