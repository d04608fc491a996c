//! A source from a later frame on: what comes before is heard by nobody.

use super::{Format, Heard, SoundError, Source};

/// Leaves the first frames of a source out.
pub struct Later {
    source: Box<dyn Source>,
    left: u64,
}

impl Later {
    /// From frame `from` on.
    #[must_use]
    pub fn new(source: Box<dyn Source>, from: u64) -> Self {
        Self { source, left: from }
    }
}

impl Source for Later {
    fn format(&self) -> Format {
        self.source.format()
    }

    fn next(&mut self, out: &mut [f32]) -> Result<Heard, SoundError> {
        let channels = usize::from(self.format().channels.max(1));
        loop {
            // Never further than there is to leave out.
            let most = usize::try_from(self.left).unwrap_or(usize::MAX).saturating_mul(channels);
            let room = if self.left == 0 { out.len() } else { out.len().min(most) };
            let heard = self.source.next(&mut out[..room])?;
            match heard {
                Heard::Filled(count) if self.left > 0 => self.left = self.left.saturating_sub((count / channels) as u64),
                Heard::Lost(frames) if self.left >= frames => self.left -= frames,
                Heard::Lost(frames) => return Ok(Heard::Lost(frames - std::mem::take(&mut self.left))),
                other => return Ok(other),
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::SampleRate;

    /// Two channels of frames that say their number, with 10 lost after the first 20.
    struct Counted(u64);

    impl Source for Counted {
        fn format(&self) -> Format {
            Format { rate: SampleRate::new(48_000).unwrap(), channels: 2 }
        }

        fn next(&mut self, out: &mut [f32]) -> Result<Heard, SoundError> {
            if self.0 == 20 {
                self.0 = 30;
                return Ok(Heard::Lost(10));
            }
            let end = if self.0 < 20 { 20 } else { 40 };
            let frames = (out.len() / 2).min(7).min((end - self.0) as usize);
            for frame in out[..2 * frames].chunks_mut(2) {
                frame.fill(self.0 as f32);
                self.0 += 1;
            }
            Ok(if frames == 0 { Heard::Ended } else { Heard::Filled(2 * frames) })
        }
    }

    /// The frames that are heard; `None` for a lost one.
    fn heard(from: u64) -> Vec<Option<u64>> {
        let mut source = Later::new(Box::new(Counted(0)), from);
        let (mut all, mut buffer) = (Vec::new(), [0.0; 16]);
        loop {
            match source.next(&mut buffer).unwrap() {
                Heard::Filled(count) => all.extend(buffer[..count].iter().step_by(2).map(|sample| Some(*sample as u64))),
                Heard::Lost(frames) => all.extend((0..frames).map(|_| None)),
                Heard::Waiting => {}
                Heard::Ended => return all,
            }
        }
    }

    #[test]
    fn everything_from_the_frame_on_is_heard_and_nothing_before_it() {
        let whole = heard(0);
        assert_eq!(whole.len(), 40);
        for from in [1, 8, 19, 20, 25, 30, 33, 39, 40, 50] {
            assert_eq!(heard(from), whole[(from as usize).min(40)..], "from {from}");
        }
    }
}
