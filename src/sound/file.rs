//! A recorded take: WAV of any depth, FLAC, Ogg Vorbis and MP3. The one door to the decoders.
//!
//! Conventions. Time 0 is the first sample that the encoder was given: the frames that an MP3 or Vorbis encoder adds in
//! front and behind are cut off where the file says how many they are. Integers become floats by division by their full
//! scale; floats are handed on as they are. The file is read as it is needed: memory does not grow with its length.

use super::{Format, Heard, SoundError, Source};
use crate::units::SampleRate;
use std::fs::File;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};
use symphonia::core::codecs::audio::{AudioDecoder, AudioDecoderOptions};
use symphonia::core::errors::Error;
use symphonia::core::formats::probe::Hint;
use symphonia::core::formats::{FormatOptions, FormatReader, TrackType};
use symphonia::core::io::{MediaSourceStream, MediaSourceStreamOptions};
use symphonia::core::meta::MetadataOptions;
use symphonia::core::packet::Packet;

/// A file as a [`Source`]: gives its samples as fast as they are asked for.
pub struct FileSource {
    path: PathBuf,
    reader: Box<dyn FormatReader>,
    decoder: Box<dyn AudioDecoder>,
    track: u32,
    format: Format,
    /// The frames that the file's head promises, where it does.
    promised: Option<u64>,
    /// Frames given or reported lost so far.
    position: u64,
    /// The packet being handed out, and how far.
    samples: Vec<f32>,
    taken: usize,
    /// Frames that are missing before `samples`.
    lost: u64,
    /// Where the next packet should begin, in frames on the file's own scale.
    expected: Option<i64>,
    ended: bool,
}

impl FileSource {
    /// Opens `path` and decodes up to its first sample.
    ///
    /// # Errors
    /// One sentence when the file is missing, unreadable, empty, no sound file, or without a single sample.
    pub fn open(path: &Path) -> Result<Self, SoundError> {
        let file = File::open(path).map_err(|error| unreadable(path, &error))?;
        let about = file.metadata().map_err(|error| unreadable(path, &error))?;
        if about.is_dir() {
            return Err(unreadable(path, &"it is a folder"));
        }
        if about.is_file() && about.len() == 0 {
            return Err(SoundError::NoSound { path: named(path), reason: "the file is empty".into() });
        }
        let stream = MediaSourceStream::new(Box::new(file), MediaSourceStreamOptions::default());
        let mut hint = Hint::new();
        if let Some(extension) = path.extension().and_then(|extension| extension.to_str()) {
            hint.with_extension(extension);
        }
        let reader = symphonia::default::get_probe()
            .probe(&hint, stream, FormatOptions::default(), MetadataOptions::default())
            .map_err(|error| unreadable(path, &wording(&error)))?;
        Self::decoding(path, reader)
    }

    fn decoding(path: &Path, reader: Box<dyn FormatReader>) -> Result<Self, SoundError> {
        let track = reader.default_track(TrackType::Audio).ok_or_else(|| unreadable(path, &"it holds no sound"))?;
        let (id, promised) = (track.id, track.num_frames);
        let parameters = track
            .codec_params
            .as_ref()
            .and_then(|parameters| parameters.audio())
            .ok_or_else(|| unreadable(path, &"it does not say how its sound is coded"))?;
        let decoder = symphonia::default::get_codecs()
            .make_audio_decoder(parameters, &AudioDecoderOptions::default())
            .map_err(|error| unreadable(path, &wording(&error)))?;
        let mut source = Self {
            path: path.to_path_buf(),
            reader,
            decoder,
            track: id,
            format: Format { rate: SampleRate::new(1).ok_or_else(|| unreadable(path, &"no rate"))?, channels: 1 },
            promised,
            position: 0,
            samples: Vec::new(),
            taken: 0,
            lost: 0,
            expected: None,
            ended: false,
        };
        source.begin()?;
        Ok(source)
    }

    /// Decodes the first packet with sound in it: only then are rate and channels certain.
    fn begin(&mut self) -> Result<(), SoundError> {
        loop {
            match self.decode()? {
                Decoded::Sound(format) => {
                    self.format = format;
                    return Ok(());
                }
                Decoded::Unreadable(frames) => self.position += frames,
                Decoded::End => {
                    return Err(SoundError::NoSound {
                        path: named(&self.path),
                        reason: match self.promised {
                            Some(frames) if frames > 0 => format!("its head promises {frames} frames, but it breaks off before the first"),
                            _ => "it holds not one sample".into(),
                        },
                    });
                }
            }
        }
    }

    /// One packet further; `self.samples` holds it when there was sound in it.
    fn decode(&mut self) -> Result<Decoded, SoundError> {
        loop {
            let packet = match self.reader.next_packet() {
                Ok(Some(packet)) if packet.track_id == self.track => packet,
                Ok(Some(_)) => continue,
                // A chain of streams in one file: the first is the take.
                Ok(None) | Err(Error::ResetRequired) => return Ok(Decoded::End),
                Err(Error::IoError(error)) if error.kind() == ErrorKind::UnexpectedEof => return Ok(Decoded::End),
                Err(error) => return Err(self.broken(&wording(&error))),
            };
            let skipped = self.skipped_before(&packet);
            return match self.decoder.decode(&packet) {
                Ok(sound) => {
                    let (rate, channels) = (sound.spec().rate(), sound.spec().channels().count());
                    self.taken = 0;
                    sound.copy_to_vec_interleaved(&mut self.samples);
                    if self.samples.is_empty() {
                        continue;
                    }
                    match (SampleRate::new(rate), u16::try_from(channels)) {
                        (Some(rate), Ok(channels)) if channels > 0 => {
                            self.lost += skipped;
                            Ok(Decoded::Sound(Format { rate, channels }))
                        }
                        _ => Err(self.broken("it says neither its rate nor its channels")),
                    }
                }
                Err(Error::DecodeError(_) | Error::IoError(_)) => Ok(Decoded::Unreadable(skipped + packet.dur.get())),
                Err(error) => Err(self.broken(&wording(&error))),
            };
        }
    }

    /// Frames between the last packet and this one: a reader that meets a damaged packet goes on with the next whole one.
    fn skipped_before(&mut self, packet: &Packet) -> u64 {
        let begin = packet.pts.get();
        let length = packet.dur.get() + packet.trim_start.get() + packet.trim_end.get();
        let expected = self.expected.replace(begin.saturating_add_unsigned(length));
        let skipped = expected.map_or(0, |expected| u64::try_from(begin.saturating_sub(expected)).unwrap_or(0));
        // A damaged time stamp must not make a loss of years.
        self.promised.map_or(skipped, |frames| skipped.min(frames.saturating_sub(self.position)))
    }

    fn broken(&self, reason: &str) -> SoundError {
        if self.position == 0 {
            return unreadable(&self.path, &reason);
        }
        SoundError::BrokeOff { path: named(&self.path), heard_s: self.heard(), reason: reason.into() }
    }

    fn heard(&self) -> f64 {
        self.position as f64 / self.format.rate.as_f64()
    }

    fn end(&mut self) -> Result<Heard, SoundError> {
        self.ended = true;
        match self.promised {
            Some(frames) if frames > self.position => Err(SoundError::BrokeOff {
                path: named(&self.path),
                heard_s: self.heard(),
                reason: format!("its head promises {:.3} s", frames as f64 / self.format.rate.as_f64()),
            }),
            _ => Ok(Heard::Ended),
        }
    }
}

enum Decoded {
    Sound(Format),
    /// A damaged packet of so many frames.
    Unreadable(u64),
    End,
}

impl Source for FileSource {
    fn format(&self) -> Format {
        self.format
    }

    fn next(&mut self, out: &mut [f32]) -> Result<Heard, SoundError> {
        let channels = usize::from(self.format.channels);
        if self.ended {
            return Ok(Heard::Ended);
        }
        if self.taken == self.samples.len() {
            match self.decode() {
                Ok(Decoded::Sound(format)) if format == self.format => {}
                Ok(Decoded::Sound(_)) => {
                    self.ended = true;
                    self.samples.clear();
                    self.taken = 0;
                    return Err(self.broken("rate or channels change in mid-file"));
                }
                Ok(Decoded::Unreadable(frames)) => {
                    self.position += frames;
                    return Ok(Heard::Lost(frames));
                }
                Ok(Decoded::End) => return self.end(),
                Err(error) => {
                    self.ended = true;
                    return Err(error);
                }
            }
        }
        if self.lost > 0 {
            let frames = std::mem::take(&mut self.lost);
            self.position += frames;
            return Ok(Heard::Lost(frames));
        }
        let rest = &self.samples[self.taken..];
        let count = rest.len().min(out.len() / channels * channels);
        out[..count].copy_from_slice(&rest[..count]);
        self.taken += count;
        self.position += (count / channels) as u64;
        Ok(Heard::Filled(count))
    }
}

fn named(path: &Path) -> String {
    path.display().to_string()
}

fn unreadable(path: &Path, reason: &dyn std::fmt::Display) -> SoundError {
    SoundError::Unreadable { path: named(path), reason: reason.to_string() }
}

/// What the decoder says, in words for somebody who does not know it.
fn wording(error: &Error) -> String {
    match error {
        Error::IoError(error) if error.kind() == ErrorKind::UnexpectedEof => "it breaks off before any sound, or is no sound file".into(),
        Error::IoError(error) => error.to_string(),
        Error::Unsupported(_) => "it is no sound file of a kind known here".into(),
        other => other.to_string(),
    }
}
