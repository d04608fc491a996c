//! Sound in and out. Every way in is a [`Source`]: the sound card, a file, the synthesiser, a test's fake.

use crate::units::SampleRate;

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

/// What can go wrong between the outside and the samples.
#[derive(Debug, thiserror::Error)]
pub enum SoundError {
    /// A file could not be opened or read.
    #[error("cannot read {path}: {reason}; check the name and that it is a WAV, FLAC, Ogg Vorbis or MP3 file")]
    Unreadable {
        /// The file as it was named.
        path: String,
        /// What the system or the decoder said.
        reason: String,
    },
}
