//! What the analysis hears and the recorder keeps: one channel of a source, conditioned, with its losses and faults at their places.

use super::channel::{ChannelWish, Listening};
use super::condition::{Conditioner, note};
use super::{Fault, FaultKind, Heard, SoundError, Source};
use crate::units::{FrameSpan, FrameTime, SampleRate};
use std::collections::VecDeque;

/// Samples read from the source at a time.
const CHUNK: usize = 4096;

/// Consecutive samples of one take.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Block<'a> {
    /// The instant of the first sample; `lost_before` is already counted in.
    pub start: FrameTime,
    /// So many frames were lost just before `start`.
    pub lost_before: FrameSpan,
    /// The samples, nominally -1 to 1, all finite. Empty when only a loss is reported.
    pub samples: &'a [f32],
    /// What was wrong in this block or just before it, oldest first.
    pub faults: &'a [Fault],
}

/// What one call to [`Mono::hear`] brought.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Next<'a> {
    /// The next samples.
    Block(Block<'a>),
    /// Nothing yet; a live source may have more in a moment.
    Waiting,
    /// The end, for good.
    Ended,
}

/// The channel that was taken, to be said once.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Chosen {
    /// Counted from 1.
    pub channel: u16,
    /// So many there are.
    pub of: u16,
}

/// One channel of a source, as one stream for the analysis and the recorder.
///
/// Apart from the choice of the channel (see [`ChannelWish`]) nothing is held back. Results do not depend on the sizes in which the source gives.
pub struct Mono {
    source: Box<dyn Source>,
    channels: usize,
    rate: SampleRate,
    taken: Option<usize>,
    listening: Listening,
    conditioner: Conditioner,
    /// Interleaved, as read.
    raw: Vec<f32>,
    /// Interleaved, held back until the channel is certain.
    held: VecDeque<f32>,
    samples: Vec<f32>,
    faults: Vec<Fault>,
    position: FrameTime,
    ended: bool,
    failed: Option<SoundError>,
    lost_after_held: u64,
}

impl Mono {
    /// Listens to `source`.
    ///
    /// # Errors
    /// When a channel is wished that the source does not have.
    pub fn new(source: Box<dyn Source>, wish: ChannelWish) -> Result<Self, SoundError> {
        let format = source.format();
        let channels = usize::from(format.channels.max(1));
        let taken = match wish {
            ChannelWish::Fixed(channel) if channel == 0 || usize::from(channel) > channels => {
                return Err(SoundError::NoSuchChannel { channel, channels: format.channels });
            }
            ChannelWish::Fixed(channel) => Some(usize::from(channel) - 1),
            ChannelWish::Louder => (channels == 1).then_some(0),
        };
        Ok(Self {
            source,
            channels,
            rate: format.rate,
            taken,
            listening: Listening::new(format.rate, channels),
            conditioner: Conditioner::default(),
            raw: vec![0.0; (CHUNK / channels).max(1) * channels],
            held: VecDeque::new(),
            samples: Vec::with_capacity(CHUNK),
            faults: Vec::new(),
            position: FrameTime(0),
            ended: false,
            failed: None,
            lost_after_held: 0,
        })
    }

    /// Frames a second.
    #[must_use]
    pub fn rate(&self) -> SampleRate {
        self.rate
    }

    /// The channel taken, once that is certain; worth saying where there are several.
    #[must_use]
    pub fn chosen(&self) -> Option<Chosen> {
        let of = u16::try_from(self.channels).unwrap_or(u16::MAX);
        self.taken.map(|channel| Chosen { channel: u16::try_from(channel + 1).unwrap_or(u16::MAX), of })
    }

    /// Another take begins with the next sample: time starts anew, the channel stays.
    pub fn begin_anew(&mut self) {
        self.position = FrameTime(0);
        self.conditioner = Conditioner::default();
    }

    /// The next samples. Does not allocate once it has been through a block of the source's largest size and the channel is chosen.
    ///
    /// # Errors
    /// When the source broke off; everything before it has been handed out, and further calls say that it ended.
    pub fn hear(&mut self) -> Result<Next<'_>, SoundError> {
        loop {
            self.samples.clear();
            self.faults.clear();
            if self.ended {
                return self.failed.take().map_or(Ok(Next::Ended), Err);
            }
            if self.lost_after_held > 0 {
                let frames = std::mem::take(&mut self.lost_after_held);
                return Ok(Next::Block(self.loss(frames)));
            }
            match self.source.next(&mut self.raw) {
                Ok(Heard::Filled(count)) => self.take_in(count),
                Ok(Heard::Lost(frames)) if self.held.is_empty() => return Ok(Next::Block(self.loss(frames))),
                // What is held comes first, the loss with the next call.
                Ok(Heard::Lost(frames)) => {
                    self.lost_after_held = frames;
                    self.let_go();
                }
                Ok(Heard::Waiting) => return Ok(Next::Waiting),
                Ok(Heard::Ended) => {
                    self.ended = true;
                    self.let_go();
                }
                Err(error) => {
                    self.ended = true;
                    self.failed = Some(error);
                    self.let_go();
                }
            }
            if !self.samples.is_empty() {
                return Ok(Next::Block(self.block()));
            }
        }
    }

    fn loss(&mut self, frames: u64) -> Block<'_> {
        note(&mut self.faults, FaultKind::Lost, self.position, frames);
        // A flat top does not reach across a loss.
        self.conditioner = Conditioner::default();
        self.position = self.position + FrameSpan(frames);
        Block { start: self.position, lost_before: FrameSpan(frames), samples: &[], faults: &self.faults }
    }

    fn block(&mut self) -> Block<'_> {
        let start = self.position;
        self.conditioner.run(start, &mut self.samples, &mut self.faults);
        self.position = start + FrameSpan(self.samples.len() as u64);
        Block { start, lost_before: FrameSpan(0), samples: &self.samples, faults: &self.faults }
    }

    /// Takes `count` fresh samples from `raw`: on into `samples`, or into `held` while the channel is open.
    fn take_in(&mut self, count: usize) {
        if let Some(channel) = self.taken {
            self.samples.extend(self.raw[..count].iter().skip(channel).step_by(self.channels));
            return;
        }
        let second = self.rate.hz() as usize * self.channels;
        for start in (0..count).step_by(self.channels) {
            let frame = &self.raw[start..start + self.channels];
            self.held.extend(frame);
            if self.taken.is_some() {
                continue;
            }
            self.taken = self.listening.hear(frame);
            if !self.listening.heard_sound() && self.held.len() > second {
                self.hand_on(self.channels);
            }
        }
        if self.taken.is_some() {
            self.hand_on(self.held.len());
            self.held = VecDeque::new();
        }
    }

    /// The source paused or ended: what is held must go now, from the louder channel so far.
    fn let_go(&mut self) {
        if self.taken.is_none() {
            if self.listening.heard_sound() {
                self.taken = Some(self.listening.louder());
            }
            self.hand_on(self.held.len());
        }
    }

    fn hand_on(&mut self, count: usize) {
        let channel = self.taken.unwrap_or_else(|| self.listening.louder());
        self.samples.extend(self.held.drain(..count).skip(channel).step_by(self.channels));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sound::Format;

    /// Gives what it was given, in pieces of a size.
    struct Given {
        format: Format,
        pieces: Vec<Piece>,
    }

    #[derive(Clone)]
    enum Piece {
        Sound(Vec<f32>),
        Lost(u64),
        Broken,
    }

    impl Source for Given {
        fn format(&self) -> Format {
            self.format
        }

        fn next(&mut self, out: &mut [f32]) -> Result<Heard, SoundError> {
            if self.pieces.is_empty() {
                return Ok(Heard::Ended);
            }
            match self.pieces.remove(0) {
                Piece::Sound(samples) => {
                    out[..samples.len()].copy_from_slice(&samples);
                    Ok(Heard::Filled(samples.len()))
                }
                Piece::Lost(frames) => Ok(Heard::Lost(frames)),
                Piece::Broken => Err(SoundError::NoSound { path: "a test".into(), reason: "told to".into() }),
            }
        }
    }

    const RATE: u32 = 8000;

    fn mono(channels: u16, pieces: Vec<Piece>, wish: ChannelWish) -> Mono {
        let format = Format { rate: SampleRate::new(RATE).unwrap(), channels };
        Mono::new(Box::new(Given { format, pieces }), wish).unwrap()
    }

    /// Everything said, and whether it ended well.
    fn all(mono: &mut Mono) -> (Vec<f32>, Vec<Fault>, bool) {
        let (mut samples, mut faults, mut time) = (Vec::new(), Vec::new(), 0);
        loop {
            match mono.hear() {
                Ok(Next::Block(block)) => {
                    time += block.lost_before.0;
                    assert_eq!(block.start, FrameTime(time), "time goes on over losses");
                    time += block.samples.len() as u64;
                    samples.extend_from_slice(block.samples);
                    faults.extend_from_slice(block.faults);
                }
                Ok(Next::Waiting) => {}
                Ok(Next::Ended) => return (samples, faults, true),
                Err(_) => return (samples, faults, false),
            }
        }
    }

    fn sine(seconds: f64, level: f64) -> Vec<f32> {
        (0..(f64::from(RATE) * seconds) as usize)
            .map(|n| (level * (std::f64::consts::TAU * 110.0 * n as f64 / f64::from(RATE)).sin()) as f32)
            .collect()
    }

    fn stereo(left: &[f32], right: &[f32]) -> Vec<f32> {
        left.iter().zip(right).flat_map(|(left, right)| [*left, *right]).collect()
    }

    fn cut(samples: &[f32], size: usize) -> Vec<Piece> {
        samples.chunks(size).map(|piece| Piece::Sound(piece.to_vec())).collect()
    }

    #[test]
    fn a_guitar_on_the_right_alone_is_heard_from_its_first_sample_and_untouched() {
        let silence = vec![0.0; 3 * RATE as usize];
        let right = [silence.clone(), sine(2.0, 0.2)].concat();
        let left = vec![1e-4; right.len()];
        let mut mono = mono(2, cut(&stereo(&left, &right), 1000), ChannelWish::Louder);
        let (samples, faults, _) = all(&mut mono);
        assert_eq!(mono.chosen(), Some(Chosen { channel: 2, of: 2 }));
        assert_eq!(samples[silence.len() - 100..], right[silence.len() - 100..]);
        assert_eq!((samples.len(), faults), (right.len(), vec![]));
    }

    #[test]
    fn a_channel_and_its_inverse_are_not_averaged_away() {
        let left = sine(2.0, 0.2);
        let right: Vec<f32> = left.iter().map(|sample| -1.01 * sample).collect();
        let (samples, ..) = all(&mut mono(2, cut(&stereo(&left, &right), 64), ChannelWish::Louder));
        assert_eq!(samples, right);
    }

    #[test]
    fn the_choice_does_not_depend_on_block_sizes() {
        let right = [vec![0.0; 2 * RATE as usize], sine(0.2, 0.01), sine(1.0, 0.1)].concat();
        let left = [vec![5e-4; 2 * RATE as usize], sine(0.2, 0.02), sine(1.0, 0.05)].concat();
        let given = stereo(&left, &right);
        let whole = all(&mut mono(2, cut(&given, 4096), ChannelWish::Louder));
        for size in [2, 34, 512] {
            assert!(all(&mut mono(2, cut(&given, size), ChannelWish::Louder)) == whole, "in pieces of {size}");
        }
    }

    #[test]
    fn a_fixed_channel_is_taken_however_soft() {
        let (left, right) = (sine(1.0, 0.5), sine(1.0, 0.001));
        let (samples, ..) = all(&mut mono(2, cut(&stereo(&left, &right), 100), ChannelWish::Fixed(2)));
        assert_eq!(samples, right);
    }

    #[test]
    fn a_channel_that_is_not_there_is_refused() {
        let format = Format { rate: SampleRate::new(RATE).unwrap(), channels: 2 };
        for channel in [0, 3] {
            let refused = Mono::new(Box::new(Given { format, pieces: vec![] }), ChannelWish::Fixed(channel));
            assert!(matches!(refused, Err(SoundError::NoSuchChannel { channels: 2, .. })));
        }
    }

    #[test]
    fn a_loss_moves_time_on_and_is_a_fault_at_its_place() {
        for channels in [1, 2] {
            let pieces = vec![Piece::Sound(vec![0.1; 10]), Piece::Lost(7), Piece::Sound(vec![0.2; 10])];
            let (samples, faults, ended) = all(&mut mono(channels, pieces, ChannelWish::Louder));
            let before = 10 / usize::from(channels);
            assert_eq!(samples, [vec![0.1; before], vec![0.2; before]].concat());
            let lost = Fault { kind: FaultKind::Lost, at: FrameTime(before as u64), length: FrameSpan(7) };
            assert_eq!((faults, ended), (vec![lost], true));
        }
    }

    #[test]
    fn what_came_before_a_breakdown_is_handed_out_first() {
        let pieces = vec![Piece::Sound(vec![0.1; 10]), Piece::Broken];
        let mut mono = mono(2, pieces, ChannelWish::Louder);
        let (samples, _, ended) = all(&mut mono);
        assert_eq!((samples.len(), ended), (5, false));
        assert_eq!(mono.hear().unwrap(), Next::Ended);
    }
}
