//! A recording to play over: the part of it that is needed, in one channel, at the rate and the speed that it is to sound with.

mod resampled;
mod stretched;

use stretched::SLOWER;

use super::out::{Pass, seam};
use super::{FileSource, Heard, SoundError, Source};
use crate::units::{FrameSpan, FrameTime, SampleRate};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// What is kept before and after what is asked for, s: filters and fades reach there.
const AROUND_S: f64 = 0.5;

/// So much of a recording is made at other tempos, s: half an hour takes a minute to make (measured), and 350 MB at 48 kHz.
const MOST_S: f64 = 1800.0;

/// Speeds nearer to each other than this are one: a frame in an hour and a half.
const SAME: f64 = 4e-9;

/// What is wrong with a recording to play over.
#[derive(Clone, Debug, thiserror::Error)]
pub enum TrackError {
    /// It cannot be read.
    #[error(transparent)]
    Sound(#[from] SoundError),
    /// It is over before it begins.
    #[error("{path} is {length_s:.1} s long: there is nothing to hear from {from_s:.1} s on; choose another --track-start")]
    Over {
        /// The file.
        path: String,
        /// How long it is.
        length_s: f64,
        /// Where it should begin.
        from_s: f64,
    },
    /// It breaks off before it begins.
    #[error(
        "{path} breaks off after {heard_s:.1} s ({reason}), before the {from_s:.1} s at which it should begin; convert it anew, or choose another \
         --track-start"
    )]
    Broken {
        /// The file.
        path: String,
        /// Seconds that can be heard.
        heard_s: f64,
        /// Where it should begin.
        from_s: f64,
        /// What was found.
        reason: String,
    },
    /// More of it would be made than a machine should hold.
    #[error(
        "{path}: {minutes:.0} minutes of it would have to be made at other tempos, {most:.0} can be; play fewer --bars or --rounds, or all rounds at one \
         tempo, which is made once",
        most = MOST_S / 60.0
    )]
    TooMuch {
        /// The file.
        path: String,
        /// Minutes that would be made.
        minutes: f64,
    },
    /// It would have to be too slow or too fast.
    #[error(
        "{path} would have to be played at {share:.2} times its tempo: {least:.2} to {most:.2} can be; choose another --tempo, or say the recording's own \
         with --track-tempo",
        least = 1.0 / SLOWER.end(),
        most = 1.0 / SLOWER.start()
    )]
    Speed {
        /// The file.
        path: String,
        /// As asked.
        share: f64,
    },
    /// The library refused.
    #[error(
        "{path} cannot be brought to {hz} samples a second or to another tempo ({problem}); play it at its own tempo, or convert it first"
    )]
    Refused {
        /// The file.
        path: String,
        /// The rate.
        hz: u32,
        /// Why.
        problem: String,
    },
}

/// One stretch of the recording, and where it is to sound.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lap {
    /// The first frame of the output.
    pub at: FrameTime,
    /// Frames of the output.
    pub length: FrameSpan,
    /// Where it begins in the recording, s; may lie before its first sample.
    pub from_s: f64,
    /// How many times as long as recorded.
    pub slower: f64,
}

/// A recording, or the part of it that is needed.
#[derive(Clone, Debug)]
pub struct Track {
    path: PathBuf,
    rate: SampleRate,
    /// The frame of the file that is the first of `samples`.
    first: u64,
    samples: Vec<f32>,
    length: Option<f64>,
    broken: Option<SoundError>,
}

impl Track {
    /// Reads what lies between two instants of a file, and a little more; the mean of its channels.
    ///
    /// # Errors
    /// When it cannot be read, or ends or breaks off before `from_s`. Where it breaks off later, what comes before is used; see [`Self::broken`].
    pub fn open(path: &Path, from_s: f64, to_s: f64) -> Result<Self, TrackError> {
        let mut source = FileSource::open(path)?;
        let format = source.format();
        let channels = usize::from(format.channels.max(1));
        let first = format.rate.span(from_s - AROUND_S).0;
        let end = format.rate.span(to_s + AROUND_S).0;
        let mut track = Self { path: path.to_owned(), rate: format.rate, first, samples: Vec::new(), length: None, broken: None };
        let mut buffer = vec![0.0; 4096 / channels * channels];
        let mut at = 0;
        while at < end {
            match source.next(&mut buffer) {
                Ok(Heard::Filled(count)) => {
                    for frame in buffer[..count].chunks(channels) {
                        let mean = frame.iter().sum::<f32>() / channels as f32;
                        track.keep(at, end, if mean.is_finite() { mean } else { 0.0 });
                        at += 1;
                    }
                }
                Ok(Heard::Lost(frames)) => {
                    for _ in 0..frames.min(end - at) {
                        track.keep(at, end, 0.0);
                        at += 1;
                    }
                }
                Ok(Heard::Waiting) => {}
                Ok(Heard::Ended) => break,
                Err(error) => {
                    track.broken = Some(error);
                    break;
                }
            }
        }
        track.length = (at < end).then_some(at as f64 / format.rate.as_f64());
        track.sounds_from(from_s)?;
        Ok(track)
    }

    /// Whether there is something to hear from an instant on.
    ///
    /// # Errors
    /// Why not: it breaks off before that, or is over.
    pub fn sounds_from(&self, from_s: f64) -> Result<(), TrackError> {
        let path = || self.path.display().to_string();
        match (self.length, &self.broken) {
            (Some(heard_s), Some(broken)) if heard_s <= from_s => {
                let reason = if let SoundError::BrokeOff { reason, .. } = broken { reason.clone() } else { broken.to_string() };
                Err(TrackError::Broken { path: path(), heard_s, from_s, reason })
            }
            (Some(length_s), None) if length_s <= from_s => Err(TrackError::Over { path: path(), length_s, from_s }),
            _ => Ok(()),
        }
    }

    fn keep(&mut self, at: u64, end: u64, sample: f32) {
        if (self.first..end).contains(&at) {
            self.samples.push(sample);
        }
    }

    /// The samples that were read, and their rate.
    #[must_use]
    pub fn samples(&self) -> (&[f32], SampleRate) {
        (&self.samples, self.rate)
    }

    /// Sixteen digits that are others where the samples that were read are (FNV-1a, 64 bits: Fowler, Noll and Vo, from memory).
    #[must_use]
    pub fn fingerprint(&self) -> String {
        let bytes = self.samples.iter().flat_map(|sample| sample.to_bits().to_le_bytes());
        let sum = bytes.fold(0xcbf2_9ce4_8422_2325_u64, |sum, byte| (sum ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3));
        format!("{sum:016x}")
    }

    /// How long the recording is, s, where its end was met.
    #[must_use]
    pub fn length_s(&self) -> Option<f64> {
        self.length
    }

    /// What went wrong while it was read.
    #[must_use]
    pub fn broken(&self) -> Option<&SoundError> {
        self.broken.as_ref()
    }

    /// Whether it can be played so many times as long as recorded.
    fn can_be(&self, slower: f64) -> Result<(), TrackError> {
        if is_own_speed(slower) || SLOWER.contains(&slower) {
            return Ok(());
        }
        Err(TrackError::Speed { path: self.path.display().to_string(), share: 1.0 / slower })
    }

    /// Whether these laps can be made, and seconds of sound that take their time: what is not at its own tempo, each lap of a kind once.
    ///
    /// # Errors
    /// A tempo too far from the recording's; more than can be held.
    pub fn work_s(&self, laps: &[Lap], rate: SampleRate) -> Result<f64, TrackError> {
        laps.iter().try_for_each(|lap| self.can_be(lap.slower))?;
        let made =
            laps.iter().enumerate().filter(|(n, lap)| !is_own_speed(lap.slower) && !laps[..*n].iter().any(|other| alike(other, lap)));
        let seconds: f64 = made.map(|(_, lap)| lap.length.seconds(rate)).sum();
        if seconds > MOST_S {
            return Err(TrackError::TooMuch { path: self.path.display().to_string(), minutes: seconds / 60.0 });
        }
        Ok(seconds)
    }

    /// The laps as they are to sound at `rate`. At the recording's own tempo and rate they are its own samples, untouched.
    ///
    /// # Errors
    /// As [`Self::work_s`]; what the libraries refuse.
    pub fn passes(&self, laps: &[Lap], rate: SampleRate) -> Result<Vec<Pass>, TrackError> {
        let refused = |problem: String| TrackError::Refused { path: self.path.display().to_string(), hz: rate.hz(), problem };
        self.work_s(laps, rate)?;
        let whole: Arc<[f32]> = resampled::resampled(self.samples.clone(), self.rate, rate).map_err(refused)?.into();
        let begins_s = self.first as f64 / self.rate.as_f64();
        let mut made: Vec<(Lap, Arc<[f32]>, usize)> = Vec::new();
        let mut passes = Vec::with_capacity(laps.len());
        for lap in laps {
            let Lap { at, length, .. } = *lap;
            // A loop at one tempo is made once.
            let same = |(other, ..): &&(Lap, Arc<[f32]>, usize)| alike(other, lap);
            if let Some((_, samples, from)) = made.iter().find(same) {
                passes.push(Pass { at, length, samples: Arc::clone(samples), from: *from });
                continue;
            }
            let (samples, from) = lapped(&whole, (lap.from_s - begins_s) * rate.as_f64(), lap, rate).map_err(refused)?;
            made.push((*lap, Arc::clone(&samples), from));
            passes.push(Pass { at, length, samples, from });
        }
        Ok(passes)
    }
}

fn is_own_speed(slower: f64) -> bool {
    (slower - 1.0).abs() < SAME
}

/// Whether two laps are made of the same samples. Their lengths may differ by the frame that rounding makes of them.
fn alike(a: &Lap, b: &Lap) -> bool {
    (a.slower - b.slower).abs() < SAME && (a.from_s - b.from_s).abs() < 1e-9 && a.length.0.abs_diff(b.length.0) <= 1
}

/// The samples of one lap, and which of them is its first. It begins `from` frames into `whole`, or before it.
fn lapped(whole: &Arc<[f32]>, from: f64, lap: &Lap, rate: SampleRate) -> Result<(Arc<[f32]>, usize), String> {
    let around = rate.span(AROUND_S).0 as f64;
    let from = from.round();
    if is_own_speed(lap.slower) && from >= 0.0 {
        return Ok((Arc::clone(whole), from as usize));
    }
    let begin = from - if is_own_speed(lap.slower) { seam(rate).0 as f64 } else { around };
    let end = from + lap.length.0 as f64 / lap.slower + around;
    // Before its beginning and behind its end a recording is silent.
    let piece: Vec<f32> =
        (begin as i64..end.ceil() as i64).map(|at| usize::try_from(at).ok().and_then(|at| whole.get(at)).copied().unwrap_or(0.0)).collect();
    if is_own_speed(lap.slower) {
        return Ok((piece.into(), (from - begin) as usize));
    }
    let made = stretched::stretched(&piece, rate, lap.slower)?;
    Ok((made.into(), ((from - begin) * lap.slower).round() as usize))
}
