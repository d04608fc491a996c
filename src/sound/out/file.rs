//! Sound out into a file: heard without a card, and by tests.

use super::{Mixer, Part};
use crate::units::{FrameTime, SampleRate};
use hound::{SampleFormat, WavSpec, WavWriter};
use std::path::{Path, PathBuf};

/// The file cannot be written.
#[derive(Debug, thiserror::Error)]
#[error("cannot write {path}: {reason}; choose another file with --out, or make room")]
pub struct RenderError {
    path: PathBuf,
    reason: String,
}

/// Plays `parts` from frame 0 into a WAV file (32-bit float, mono) of `seconds`, at `mixer`'s level and rate. A file that is there is not written over.
///
/// # Errors
/// When the file is there already or cannot be written.
pub fn render(mut mixer: Mixer, parts: Vec<Box<dyn Part>>, seconds: f64, path: &Path) -> Result<(), RenderError> {
    let wrong = |reason: String| RenderError { path: path.to_owned(), reason };
    let rate: SampleRate = mixer.rate();
    let file = std::fs::OpenOptions::new().write(true).create_new(true).open(path).map_err(|error| wrong(error.to_string()))?;
    let spec = WavSpec { channels: 1, sample_rate: rate.hz(), bits_per_sample: 32, sample_format: SampleFormat::Float };
    let mut writer = WavWriter::new(std::io::BufWriter::new(file), spec).map_err(|error| wrong(error.to_string()))?;
    for part in parts {
        mixer.add(part, FrameTime(0));
    }
    let mut left = rate.span(seconds).0;
    let mut block = [0.0; 1024];
    while left > 0 {
        let now = left.min(block.len() as u64) as usize;
        mixer.render(&mut block[..now]);
        for sample in &block[..now] {
            writer.write_sample(*sample).map_err(|error| wrong(error.to_string()))?;
        }
        left -= now as u64;
    }
    writer.finalize().map_err(|error| wrong(error.to_string()))
}
