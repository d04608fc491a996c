//! Sound in and out. Every way in is a [`Source`]: the sound card, a file, the synthesiser, a test's fake.
//! What the analysis hears of it is [`Mono`]: one channel, conditioned, with its losses and faults at their places.

use crate::units::{FrameSpan, FrameTime, SampleRate};

pub mod card;
mod channel;
mod condition;
mod file;
mod gaps;
mod later;
pub mod mask;
mod mono;
pub mod out;
mod ring;
pub mod synth;
mod takes;
pub mod track;

pub use channel::ChannelWish;
pub use file::FileSource;
pub use gaps::WithGaps;
pub use later::Later;
pub use mono::{Block, Chosen, Mono, Next};
pub use ring::{RingGauge, RingSource, RingWriter, ring};
pub use takes::{Arriving, OneTake, Origin, Takes};

/// What a source gives: frames a second and interleaved channels.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Format {
    /// Frames a second.
    pub rate: SampleRate,
    /// Interleaved channels, at least 1.
    pub channels: u16,
}

/// What one call to [`Source::next`] brought.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Heard {
    /// So many samples (frames times channels) at the head of the buffer.
    Filled(usize),
    /// So many frames were lost before the next ones.
    Lost(u64),
    /// Nothing yet; a live source may have more in a moment.
    Waiting,
    /// The end, for good.
    Ended,
}

/// One way in. Pulled by whoever analyses; time is counted in the frames that it gives or reports lost.
pub trait Source: Send {
    /// Rate and channels, constant for the source's life: another rate is another take.
    fn format(&self) -> Format;

    /// The next interleaved samples, nominally -1 to 1. Never more than `out` holds, always whole frames.
    ///
    /// # Errors
    /// When the source broke off: what was heard before stays good.
    fn next(&mut self, out: &mut [f32]) -> Result<Heard, SoundError>;
}

/// Something wrong with the sound itself, at its place in the take.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Fault {
    /// What.
    pub kind: FaultKind,
    /// The first frame concerned.
    pub at: FrameTime,
    /// So many frames.
    pub length: FrameSpan,
}

/// What can be wrong with the sound.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum FaultKind {
    /// Frames that never arrived; they are not in the samples, but time goes on over them.
    Lost,
    /// A flat top at full scale; the samples stay as they are.
    Clipped,
    /// Samples that were NaN, infinite or beyond all measure, replaced by 0.
    NotANumber,
}

/// What can go wrong between the outside and the samples.
#[derive(Clone, Debug, thiserror::Error)]
pub enum SoundError {
    /// A file could not be opened or read.
    #[error("cannot read {path}: {reason}; check the name and that it is a WAV, FLAC, Ogg Vorbis or MP3 file")]
    Unreadable {
        /// The file as it was named.
        path: String,
        /// What the system or the decoder said.
        reason: String,
    },
    /// A file that can be read, but holds nothing.
    #[error("nothing to hear in {path}: {reason}")]
    NoSound {
        /// The file as it was named.
        path: String,
        /// What was found.
        reason: String,
    },
    /// The sound ends before it should; what was heard until then is good.
    #[error("{path} breaks off after {heard_s:.3} s: {reason}; what comes before is used")]
    BrokeOff {
        /// The file or device.
        path: String,
        /// Seconds heard.
        heard_s: f64,
        /// What was found.
        reason: String,
    },
    /// The wished channel is not there.
    #[error("there is no channel {channel}: the sound has {channels}, counted from 1; choose another with --channel")]
    NoSuchChannel {
        /// As wished, counted from 1.
        channel: u16,
        /// So many there are.
        channels: u16,
    },
    /// This build has no sound card.
    #[error("this landfall was built without the sound card; build it with the feature sound-card, or play a recorded take with --input")]
    NoCards,
    /// The system names no default.
    #[error("the system has no default input; name one with --device (`landfall devices` lists them)")]
    NoDefaultCard,
    /// Nothing to listen to or to play to at all.
    #[error(
        "no sound card was found: plug one in (`landfall devices` lists what there is), hear a recorded take with --input FILE, or see `landfall demo`, which \
         needs none"
    )]
    NoCardFound,
    /// The name fits no device, or several.
    #[error("cannot choose the device {device:?}: {problem}; `landfall devices` lists them")]
    NoSuchDevice {
        /// As wished.
        device: String,
        /// Why not.
        problem: String,
    },
    /// Nothing is plugged in, or the sound server does not run.
    #[error("the input {device} is not there ({reason}); connect it, or name another with --device (`landfall devices` lists them)")]
    CardAbsent {
        /// The device.
        device: String,
        /// What the system said.
        reason: String,
    },
    /// Another program has it.
    #[error("the input {device} is in use by another program; close that one, or name another with --device")]
    CardBusy {
        /// The device.
        device: String,
    },
    /// The system forbids it.
    #[error("this user may not listen to {device}; allow it in the system's settings (on Linux often the group audio)")]
    CardDenied {
        /// The device.
        device: String,
    },
    /// It answers, but not with sound.
    #[error("the input {device} cannot be used ({reason}); try another --device or --buffer")]
    CardUnusable {
        /// The device.
        device: String,
        /// What the system said.
        reason: String,
    },
    /// It cannot be played to.
    #[error("the output {device} {problem}; connect it, or name another with --out-device (`landfall devices` lists them)")]
    Output {
        /// The device.
        device: String,
        /// What is wrong with it, as the sentence goes on.
        problem: String,
    },
    /// It gives sound, but not in time.
    #[error(
        "the input {device} gives sound faster than time passes: it is no sound card; name another with --device (`landfall devices` lists them)"
    )]
    CardTooFast {
        /// The device.
        device: String,
    },
    /// It does not answer at all.
    #[error("the input {device} does not answer; restart the sound server, or name another with --device")]
    CardHangs {
        /// The device.
        device: String,
    },
}
