//! A kept take holds silence where sound was lost or was no number, and its sidecar says where. Heard again, these stretches are what they
//! were when it was recorded, so that the take is analysed as it was live.

use super::{Format, Heard, SoundError, Source};

/// A source of which some stretches count as lost.
pub struct WithGaps {
    source: Box<dyn Source>,
    /// First frame and length, in order, apart from each other; those ahead only.
    gaps: std::vec::IntoIter<(u64, u64)>,
    next: Option<(u64, u64)>,
    /// First frame and length of what was no number.
    invalid: Vec<(u64, u64)>,
    position: u64,
    skipped: Vec<f32>,
}

impl WithGaps {
    /// `gaps` and `invalid` are first frames and lengths in any order; where gaps overlap, each frame is lost once.
    #[must_use]
    pub fn new(source: Box<dyn Source>, mut gaps: Vec<(u64, u64)>, invalid: Vec<(u64, u64)>) -> Self {
        gaps.sort_unstable();
        gaps.retain(|(_, frames)| *frames > 0);
        let mut gaps = gaps.into_iter();
        Self { source, next: gaps.next(), gaps, invalid, position: 0, skipped: Vec::new() }
    }

    /// Reads over the gap that begins here; what the file does not hold of it is not lost but was never there.
    fn skip(&mut self, until: u64, room: usize) -> Result<Heard, SoundError> {
        let channels = usize::from(self.source.format().channels.max(1));
        self.skipped.resize(room.max(channels), 0.0);
        let most = usize::try_from(until - self.position).unwrap_or(usize::MAX).saturating_mul(channels);
        let most = most.min(self.skipped.len() / channels * channels);
        match self.source.next(&mut self.skipped[..most])? {
            Heard::Filled(samples) => {
                let frames = (samples / channels) as u64;
                self.position += frames;
                Ok(Heard::Lost(frames))
            }
            other => Ok(self.counted(other)),
        }
    }

    /// Makes no numbers of what was none.
    fn spoil(&self, samples: &mut [f32], channels: usize) {
        let frames = (samples.len() / channels) as u64;
        for (at, length) in &self.invalid {
            let from = at.saturating_sub(self.position).min(frames) as usize;
            let to = at.saturating_add(*length).saturating_sub(self.position).min(frames) as usize;
            samples[from * channels..to.max(from) * channels].fill(f32::NAN);
        }
    }

    fn counted(&mut self, heard: Heard) -> Heard {
        if let Heard::Lost(frames) = heard {
            self.position += frames;
        }
        heard
    }
}

impl Source for WithGaps {
    fn format(&self) -> Format {
        self.source.format()
    }

    fn next(&mut self, out: &mut [f32]) -> Result<Heard, SoundError> {
        let channels = usize::from(self.source.format().channels.max(1));
        while let Some((at, frames)) = self.next {
            let until = at.saturating_add(frames);
            if self.position >= until {
                self.next = self.gaps.next();
            } else if self.position >= at {
                return self.skip(until, out.len());
            } else {
                break;
            }
        }
        let ahead = self.next.map_or(usize::MAX, |(at, _)| usize::try_from(at - self.position).unwrap_or(usize::MAX));
        let room = out.len().min(ahead.saturating_mul(channels));
        let heard = self.source.next(&mut out[..room])?;
        if let Heard::Filled(samples) = heard {
            self.spoil(&mut out[..samples], channels);
            self.position += (samples / channels) as u64;
        }
        Ok(self.counted(heard))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::SampleRate;

    /// Counts its own frames as samples of two channels, some at a time.
    struct Counting(u64);

    impl Source for Counting {
        fn format(&self) -> Format {
            Format { rate: SampleRate::new(8000).unwrap(), channels: 2 }
        }

        fn next(&mut self, out: &mut [f32]) -> Result<Heard, SoundError> {
            let frames = (out.len() / 2).min(7).min(usize::try_from(100 - self.0).unwrap());
            for frame in 0..frames {
                out[2 * frame..2 * frame + 2].fill(self.0 as f32 + frame as f32);
            }
            self.0 += frames as u64;
            Ok(if frames == 0 { Heard::Ended } else { Heard::Filled(2 * frames) })
        }
    }

    fn heard(gaps: &[(u64, u64)]) -> Vec<Option<u64>> {
        frames(WithGaps::new(Box::new(Counting(0)), gaps.to_vec(), Vec::new()))
    }

    fn frames(mut source: WithGaps) -> Vec<Option<u64>> {
        let (mut out, mut frames) = ([0.0; 10], Vec::new());
        loop {
            match source.next(&mut out).unwrap() {
                Heard::Filled(samples) => {
                    frames.extend(out[..samples].iter().step_by(2).map(|sample| (!sample.is_nan()).then_some(*sample as u64)));
                }
                Heard::Lost(lost) => frames.extend((0..lost).map(|_| None)),
                Heard::Waiting => unreachable!("a counter never waits"),
                Heard::Ended => return frames,
            }
        }
    }

    #[test]
    fn a_gap_is_lost_time_of_its_length_at_its_place() {
        let frames = heard(&[(50, 9), (0, 3), (95, 1000)]);
        let lost = |frame: &u64| *frame < 3 || (50..59).contains(frame) || *frame >= 95;
        let expected: Vec<Option<u64>> = (0..100).map(|frame| (!lost(&frame)).then_some(frame)).collect();
        assert_eq!(frames, expected);
    }

    #[test]
    fn what_was_no_number_is_none_again() {
        let invalid = vec![(13, 4), (98, 50)];
        let expected: Vec<Option<u64>> = (0..100).map(|frame| (!(13..17).contains(&frame) && frame < 98).then_some(frame)).collect();
        assert_eq!(frames(WithGaps::new(Box::new(Counting(0)), Vec::new(), invalid)), expected);
    }

    #[test]
    fn overlapping_and_empty_gaps_lose_each_frame_once() {
        let lost = heard(&[(10, 5), (12, 2), (13, 6), (40, 0)]).iter().filter(|frame| frame.is_none()).count();
        assert_eq!(lost, 9);
    }
}
