//! The sidecar of a take: a small TOML file beside the sound that says what was asked and how it was recorded.
//!
//! ```toml
//! landfall = "0.1.0"
//! started = "2025-03-09T20:15:00+01:00"
//! source = "card"
//! device = "USB interface"
//! channel = 1
//! sample_rate_hz = 48000
//! a4_hz = 440.0
//! tolerance_cents = 10.0
//! faults = ["clipped"]
//!
//! [asked]
//! drill = "hold"
//! chord = "Gm7"
//! bend_cents = 200.0
//!
//! [[gaps]]
//! at_frame = 96000
//! frames = 512
//! ```
//!
//! Times count frames of the take. A gap stands in the sound as silence of the same length. Fields that this version does
//! not know are kept out of the way, so that a take of a newer version can still be graded; a field of the wrong kind is an error with its line.

use super::{LogbookError, whole};
use crate::grading::{Telling as What, Told};
use crate::units::{FrameTime, SampleRate};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

/// What is known of a take besides its sound.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Sidecar {
    /// The version that recorded it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub landfall: Option<String>,
    /// The instant of the first sample (RFC 3339).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub started: Option<String>,
    /// `card`, `file` or `synth`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub source: Option<String>,
    /// The device's name, as the system gives it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub device: Option<String>,
    /// The channel that was listened to, from 1. The take itself may hold this channel alone.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub channel: Option<u16>,
    /// Frames a second.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sample_rate_hz: Option<u32>,
    /// The tuning reference in hertz.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub a4_hz: Option<f64>,
    /// The tolerance in cents.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tolerance_cents: Option<f64>,
    /// Instants of the take, in seconds, at which the beats of a click or a tune were heard, from its first beat on.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub beats_at: Vec<f64>,
    /// Whether the delay of the sound card is taken off those instants; unknown where no card was in the way.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub calibrated: Option<bool>,
    /// What went wrong while recording, in the words of the log's `faults`.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub faults: Vec<String>,
    /// What the player was asked for.
    #[serde(skip_serializing_if = "Asked::is_nothing")]
    pub asked: Asked,
    /// Sound that was lost.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub gaps: Vec<Gap>,
    /// Where landfall's own tones sounded, and shortly after: no note that begins there is an attempt.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub own_sound: Vec<Gap>,
    /// Samples that were no numbers and stand as 0 in the take.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub invalid: Vec<Gap>,
}

/// What a drill or the command line asked for; all of it may be missing in free play.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Asked {
    /// The drill's name.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub drill: Option<String>,
    /// The chord's symbol.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub chord: Option<String>,
    /// The note to reach.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub target: Option<String>,
    /// The size of the bend in cents.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bend_cents: Option<f64>,
    /// In the log's words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub technique: Option<String>,
    /// The string, 1 is the highest.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub string: Option<u8>,
    /// The player's stage.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stage: Option<String>,
    /// The kind of a drill of the player's own; without it, `drill` is landfall's.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub kind: Option<String>,
    /// What was given to the drill, by the names of its parameters.
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    pub parameters: BTreeMap<String, String>,
    /// What was told while it was played, in order.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub told: Vec<Telling>,
    /// The tune that was played over.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tune: Option<AskedTune>,
    /// The click that the drill was played to.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub click: Option<AskedClick>,
}

/// Something told while a take was heard.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Telling {
    /// Seconds of the take.
    pub at_s: f64,
    /// `skip` or `repeat`.
    pub what: String,
}

impl Telling {
    /// As it is kept.
    #[must_use]
    pub fn of(told: Told) -> Self {
        let what = match told.what {
            What::Skip => "skip",
            What::Repeat => "repeat",
        };
        Self { at_s: told.at_s, what: what.to_owned() }
    }

    /// As it was told; `None` for a word of a newer version.
    #[must_use]
    pub fn told(&self) -> Option<Told> {
        let what = match self.what.as_str() {
            "skip" => What::Skip,
            "repeat" => What::Repeat,
            _ => return None,
        };
        Some(Told { at_s: self.at_s, what })
    }
}

/// A click and how it sounded; its tempo and its bars are the drill's.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct AskedClick {
    /// Beats before the first bar.
    pub before: u32,
    /// It fell silent after the count-in.
    pub only_count_in: bool,
    /// How loud it was, in dB below the loudest; missing where it did not sound beside the take, or sounded at another rate than the take's, so that it
    /// cannot be taken out of it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub level_db: Option<f64>,
}

/// A tune and how it was played.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct AskedTune {
    /// What it was called on the command line.
    pub name: String,
    /// First and last bar, where not all were played.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bars: Option<(usize, usize)>,
    /// How often, where more than once.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rounds: Option<u32>,
    /// Beats a minute in the first round, where not the chart's.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tempo_from: Option<f64>,
    /// And in the last.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tempo_to: Option<f64>,
    /// The tonic that the tune was moved to, where it was.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tonic: Option<String>,
    /// Semitones from what is fingered to what sounds: up by a capo, down by the tuning. The chart is as fingered, rows are as it sounds.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sounds_semitones: Option<i32>,
    /// What of a bend should be on the beat: `top` or `pick`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub on: Option<String>,
    /// Bars of count-in, where not the usual.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub count_in: Option<u32>,
    /// The whole text of the chart.
    pub chart: String,
    /// Who played along while the take was recorded; nobody beside a take that came from elsewhere.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub band: Option<AskedBand>,
}

/// What sounded over a tune: enough to play it again, event for event.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct AskedBand {
    /// Players left out: `bass`, `chords`, `drums`, `all`.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub without: Vec<String>,
    /// Where a click sounded besides: `beat`, `count`, `half`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub click: Option<String>,
    /// The backbeat came half as often.
    pub half_time: bool,
    /// `root` or `fifth`, where a drone sounded instead.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub drone: Option<String>,
    /// The band's seed.
    pub seed: u64,
    /// How loud it was, in dB below the loudest.
    pub level_db: f64,
    /// The recording that sounded instead of a band.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub track: Option<AskedTrack>,
}

/// A recording that was played over: where it is, and how it lay under the tune.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct AskedTrack {
    /// The file.
    pub file: PathBuf,
    /// The second of it at which the chart's first bar begins.
    pub start_s: f64,
    /// How much louder than usual, dB.
    pub gain_db: f64,
    /// Its own tempo, where not the chart's.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tempo: Option<f64>,
    /// What was read of it, in short: another recording under the same name is not what was heard.
    pub fingerprint: String,
}

impl Asked {
    fn is_nothing(&self) -> bool {
        *self == Self::default()
    }
}

/// Sound that was lost or was no sound: so many frames from this one on are silence in the take.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Gap {
    /// The first frame concerned.
    pub at_frame: u64,
    /// How many there are.
    pub frames: u64,
}

impl Gap {
    /// What is left of it from a frame on, counted from there.
    fn heard_from(self, first: u64) -> Option<Self> {
        let end = self.at_frame.saturating_add(self.frames).saturating_sub(first);
        let at_frame = self.at_frame.saturating_sub(first);
        (end > at_frame).then_some(Self { at_frame, frames: end - at_frame })
    }
}

impl Sidecar {
    /// The sidecar's name: the take's, ending in `.toml`.
    #[must_use]
    pub fn beside(take: &Path) -> PathBuf {
        take.with_extension("toml")
    }

    /// The same for whoever hears the take from a frame on: instants count from there, so beats before it are negative, and what was over by then is left out.
    #[must_use]
    pub fn heard_from(&self, first: FrameTime, rate: SampleRate) -> Self {
        let later = |gaps: &[Gap]| gaps.iter().filter_map(|gap| gap.heard_from(first.0)).collect();
        let first_s = first.seconds(rate);
        let mut from = self.clone();
        from.beats_at.iter_mut().for_each(|at_s| *at_s -= first_s);
        from.asked.told.retain_mut(|told| {
            told.at_s -= first_s;
            told.at_s >= 0.0
        });
        (from.gaps, from.own_sound, from.invalid) = (later(&self.gaps), later(&self.own_sound), later(&self.invalid));
        from
    }

    /// Reads the sidecar beside a take; `None` when there is none.
    ///
    /// # Errors
    /// When it cannot be read, or is broken: the place is named.
    pub fn of(take: &Path) -> Result<Option<Self>, LogbookError> {
        let path = Self::beside(take);
        let bytes = match fs::read(&path) {
            Ok(bytes) => bytes,
            Err(reason) if reason.kind() == std::io::ErrorKind::NotFound => return Ok(None),
            Err(reason) => return Err(LogbookError::unreadable(&path, reason)),
        };
        let text = String::from_utf8_lossy(&bytes);
        toml::from_str(&text).map(Some).map_err(|error| {
            let line = error.span().map_or(1, |span| 1 + text[..span.start].matches('\n').count());
            LogbookError::Sidecar { path, line, problem: error.message().replace('\n', " ") }
        })
    }

    /// Writes it beside a take, whole or not at all: a sidecar that was there is exchanged in one step.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn save(&self, take: &Path) -> Result<(), LogbookError> {
        let path = Self::beside(take);
        let unwritable = |reason| LogbookError::unwritable(&path, reason);
        let text = toml::to_string(self).map_err(|error| unwritable(std::io::Error::other(error)))?;
        whole::exchange(&path, text.as_bytes()).map_err(unwritable)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn example() -> Sidecar {
        Sidecar {
            landfall: Some("0.1.0".into()),
            started: Some("2025-03-09T20:15:00+01:00".into()),
            source: Some("card".into()),
            device: Some("USB \"one\"".into()),
            channel: Some(1),
            sample_rate_hz: Some(48_000),
            a4_hz: Some(440.0),
            tolerance_cents: Some(10.0),
            beats_at: vec![2.5, 3.5],
            calibrated: Some(true),
            faults: vec!["clipped".into()],
            asked: Asked { chord: Some("Gm7".into()), bend_cents: Some(200.0), ..Asked::default() },
            gaps: vec![Gap { at_frame: 96_000, frames: 512 }],
            own_sound: vec![Gap { at_frame: 48_000, frames: 9600 }],
            invalid: vec![Gap { at_frame: 7, frames: 1 }],
        }
    }

    #[test]
    fn a_sidecar_is_read_as_it_was_saved_and_may_be_exchanged() {
        let folder = tempfile::tempdir().unwrap();
        let take = folder.path().join("evening.wav");
        assert_eq!(Sidecar::of(&take).unwrap(), None);
        Sidecar::default().save(&take).unwrap();
        assert_eq!(Sidecar::of(&take).unwrap(), Some(Sidecar::default()));
        example().save(&take).unwrap();
        assert_eq!(Sidecar::of(&take).unwrap(), Some(example()));
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1, "no temporary file is left");
    }

    #[test]
    fn heard_from_a_frame_on_its_beats_may_lie_before_it_and_what_is_over_is_gone() {
        let rate = SampleRate::new(48_000).unwrap();
        let from = example().heard_from(FrameTime(144_000), rate);
        assert_eq!(from.beats_at, [-0.5, 0.5]);
        assert_eq!((from.gaps, from.own_sound, from.invalid), (vec![], vec![], vec![]));
        let within = example().heard_from(FrameTime(50_400), rate);
        assert_eq!(within.own_sound, [Gap { at_frame: 0, frames: 7200 }]);
        assert_eq!(within.gaps, [Gap { at_frame: 45_600, frames: 512 }]);
        assert_eq!(example().heard_from(FrameTime(0), rate), example());
    }

    #[test]
    fn a_newer_sidecar_is_read_and_a_broken_one_names_its_line() {
        let folder = tempfile::tempdir().unwrap();
        let take = folder.path().join("evening.wav");
        fs::write(Sidecar::beside(&take), "a4_hz = 442\nmoon = \"full\"\n[asked]\nmood = 1\n").unwrap();
        assert_eq!(Sidecar::of(&take).unwrap().unwrap().a4_hz, Some(442.0));
        fs::write(Sidecar::beside(&take), "source = \"card\"\nchannel = \"left\"\n").unwrap();
        let said = Sidecar::of(&take).unwrap_err().to_string();
        assert!(said.contains("evening.toml line 2") && said.contains("u16"), "{said}");
    }
}
