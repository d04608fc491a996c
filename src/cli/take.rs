//! A recorded take as the commands hear it: its sound, what its sidecar says, and the settings that follow.

use super::directories::Environment;
use super::settings::{Given, Settings};
use super::{Failure, remark};
use crate::logbook::sidecar::{Gap, Sidecar};
use crate::sound::{ChannelWish, FileSource, Mono, Source, WithGaps};
use crate::units::A4;
use std::path::{Path, PathBuf};

/// An opened take.
pub struct Take {
    /// The file as it was named.
    pub path: PathBuf,
    /// One channel of it, with what was lost in recording at its place.
    pub sound: Mono,
    /// What was asked and how it was recorded; empty for a recording made elsewhere.
    pub sidecar: Sidecar,
    /// What holds for this take.
    pub settings: Settings,
}

impl Take {
    /// Opens a recording. Options stand over what its sidecar says.
    ///
    /// # Errors
    /// One sentence when the file, its sidecar or the settings cannot be used.
    pub fn open(path: &Path, flags: Given) -> Result<Self, Failure> {
        let source = FileSource::open(path)?;
        let sidecar = Sidecar::of(path)?.unwrap_or_default();
        let channels = source.format().channels;
        let recorded = Given {
            a4: sidecar.a4_hz.and_then(A4::new),
            tolerance: sidecar.tolerance_cents.filter(|cents| *cents > 0.0),
            // A kept take usually holds the channel that was listened to and no other.
            channel: sidecar.channel.filter(|channel| channels > 1 && (1..=channels).contains(channel)),
            ..Given::default()
        };
        let settings = Settings::load(&Environment::of_process(), flags, recorded)?;
        let wish = settings.channel.value.map_or(ChannelWish::Louder, ChannelWish::Fixed);
        let places = |stretches: &[Gap]| stretches.iter().map(|stretch| (stretch.at_frame, stretch.frames)).collect();
        let as_recorded = WithGaps::new(Box::new(source), places(&sidecar.gaps), places(&sidecar.invalid));
        let sound = Mono::new(Box::new(as_recorded), wish)?;
        Ok(Self { path: path.to_owned(), sound, sidecar, settings })
    }

    /// The file's name without its ending: the log's `take`.
    #[must_use]
    pub fn stem(&self) -> String {
        self.path.file_stem().unwrap_or_default().to_string_lossy().into_owned()
    }

    /// Says once which of several channels was listened to, where nobody fixed it.
    pub fn say_channel(&self) {
        if let Some(chosen) = self.sound.chosen()
            && chosen.of > 1
            && self.settings.channel.value.is_none()
        {
            let (path, channel, of) = (self.path.display(), chosen.channel, chosen.of);
            remark(format_args!("{path}: listened to channel {channel} of {of}, the louder one; --channel takes another"));
        }
    }
}
