//! A recording as a part: stretches of its samples one after the other, each from its own frame on, to the sample.
//!
//! Where one stretch meets the next, the next one's own sound before its beginning is faded in while the first fades out, so that the seam does not click and what
//! begins on the seam (the first beat of a loop) is heard from its first sample at full strength. The very first stretch is faded in before its beginning and the
//! very last one out before its end, over as long.

use super::{Event, PEAK, Part};
use crate::units::{FrameSpan, FrameTime, SampleRate};
use std::f64::consts::PI;
use std::sync::Arc;

/// How long one stretch fades into the next, s: long enough not to click, too short to be heard as two. Common practice, no source.
const SEAM_S: f64 = 0.008;

/// The frames before a beginning or an end over which is faded.
#[must_use]
pub fn seam(rate: SampleRate) -> FrameSpan {
    rate.span(SEAM_S)
}

/// One stretch of a recording.
#[derive(Clone, Debug)]
pub struct Pass {
    /// The frame of the part at which it begins.
    pub at: FrameTime,
    /// How long it is.
    pub length: FrameSpan,
    /// The recording, -1 to 1.
    pub samples: Arc<[f32]>,
    /// The sample that is heard at `at`; those before it are the fade's.
    pub from: usize,
}

impl Pass {
    fn end(&self) -> FrameTime {
        self.at + self.length
    }

    /// Silent where the recording has nothing.
    fn sample(&self, frame: u64) -> f32 {
        let index = self.from as i64 + frame as i64 - self.at.0 as i64;
        usize::try_from(index).ok().and_then(|index| self.samples.get(index)).copied().unwrap_or(0.0)
    }
}

/// The part.
#[derive(Clone, Debug)]
pub struct Recorded {
    passes: Vec<Pass>,
    gain: f32,
    /// How much of what ends is left, by how many frames are left, from 1.
    fades: Box<[f32]>,
    asked: FrameTime,
}

impl Recorded {
    /// Plays `passes`, in order. With `gain` 1 a full scale of the recording is what the output can hold (see [`PEAK`]).
    #[must_use]
    pub fn new(passes: Vec<Pass>, gain: f32, rate: SampleRate) -> Self {
        let frames = seam(rate).0;
        let share = |left: u64| 0.5 - 0.5 * (PI * left as f64 / (frames + 1) as f64).cos();
        let fades = (1..=frames).map(|left| share(left) as f32).collect();
        Self { passes, gain: gain * PEAK, fades, asked: FrameTime(0) }
    }

    /// What is left of what ends in so many frames.
    fn left(&self, frames: u64) -> f32 {
        if frames == 0 { 0.0 } else { self.fades.get(frames as usize - 1).copied().unwrap_or(1.0) }
    }

    /// A frame within or before the pass of this number.
    fn sample(&self, place: usize, frame: u64) -> f32 {
        let Some(pass) = self.passes.get(place) else { return 0.0 };
        let to_begin = pass.at.0.saturating_sub(frame);
        if to_begin > 0 {
            return (1.0 - self.left(to_begin)) * pass.sample(frame);
        }
        let to_end = pass.end().0.saturating_sub(frame);
        let left = self.left(to_end);
        if left >= 1.0 {
            return pass.sample(frame);
        }
        let next = self.passes.get(place + 1).map_or(0.0, |next| self.sample(place + 1, frame.min(next.at.0.saturating_sub(1))));
        left * pass.sample(frame) + next
    }
}

impl Part for Recorded {
    fn events(&mut self, _: FrameTime, _: &mut dyn FnMut(Event)) {}

    fn sound(&mut self, from: FrameTime, out: &mut [f32]) {
        let mut place = self.passes.partition_point(|pass| pass.end() <= from);
        for (frame, sample) in (from.0..).zip(out.iter_mut()) {
            while self.passes.get(place).is_some_and(|pass| pass.end().0 <= frame) {
                place += 1;
            }
            *sample += self.gain * self.sample(place, frame);
        }
        self.asked = from + FrameSpan(out.len() as u64);
    }

    fn is_over(&self) -> bool {
        self.passes.last().is_none_or(|pass| pass.end() <= self.asked)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rate() -> SampleRate {
        SampleRate::new(48_000).unwrap()
    }

    /// Each sample says which one it is.
    fn recording() -> Arc<[f32]> {
        (0..20_000_u32).map(|n| n as f32 / 32_768.0).collect()
    }

    fn heard(mut part: Recorded, frames: usize, block: usize) -> Vec<f32> {
        let mut out = vec![0.0; frames];
        let mut at = 0;
        for piece in out.chunks_mut(block) {
            part.sound(FrameTime(at), piece);
            at += piece.len() as u64;
        }
        assert_eq!(part.is_over(), at >= 12_000);
        out
    }

    /// 5000 frames of silence, then samples 3000 to 6499 twice.
    fn twice() -> Recorded {
        let samples = recording();
        let pass = |at| Pass { at: FrameTime(at), length: FrameSpan(3500), samples: Arc::clone(&samples), from: 3000 };
        Recorded::new(vec![pass(5000), pass(8500)], 1.0, rate())
    }

    #[test]
    fn a_loop_repeats_exactly_its_part_of_the_recording_but_for_the_fade_before_the_seam() {
        let out = heard(twice(), 13_000, 512);
        let seam = seam(rate()).0 as usize;
        let of = |sample: usize| 0.5 * sample as f32 / 32_768.0;
        assert!(out[..5000 - seam].iter().all(|sample| *sample == 0.0));
        for (frame, sample) in out.iter().enumerate() {
            let wanted = match frame {
                5000..8500 if frame < 8500 - seam => of(3000 + frame - 5000),
                8500..12_000 if frame < 12_000 - seam => of(3000 + frame - 8500),
                12_000.. => 0.0,
                _ => continue,
            };
            assert_eq!(sample.to_bits(), wanted.to_bits(), "frame {frame}");
        }
        // In the fade both are heard, and their shares add up to one.
        for (frame, heard) in out.iter().enumerate().take(8500).skip(8500 - seam) {
            let (ends, begins) = (of(3000 + frame - 5000), of(3000 - (8500 - frame)));
            assert!((begins..=ends).contains(heard), "frame {frame}: {heard} is not from {begins} to {ends}");
        }
        // From one to the other it is a step of 3500 samples: a raised cosine over the seam is nowhere steeper than pi / 2 of its mean slope.
        let steepest = f64::from(0.5 * 3500.0 / 32_768.0_f32) / seam as f64 * std::f64::consts::FRAC_PI_2;
        let moved = |pair: &[f32]| f64::from((pair[1] - pair[0]).abs());
        assert!(out[8500 - seam..8500].windows(2).all(|pair| moved(pair) < steepest + 2e-5), "it goes over evenly");
    }

    #[test]
    fn what_is_heard_does_not_depend_on_the_sizes_of_blocks() {
        let whole = heard(twice(), 13_000, 13_000);
        for block in [1, 7, 256, 999] {
            assert_eq!(heard(twice(), 13_000, block), whole, "in pieces of {block}");
        }
    }

    #[test]
    fn where_the_recording_has_nothing_it_is_silent() {
        let pass = Pass { at: FrameTime(100), length: FrameSpan(12_000), samples: recording(), from: 19_000 };
        let out = heard(Recorded::new(vec![pass], 1.0, rate()), 12_500, 512);
        assert!(out[100..1100].iter().all(|sample| *sample > 0.2) && out[1100..].iter().all(|sample| *sample == 0.0));
    }
}
