//! A recording of the player's own instead of a band: on the command line, in a sidecar, and ready to sound.

use super::over_changes::{Over, tempo};
use super::{Failure, WrongUse, remark};
use crate::logbook::sidecar::{AskedBand, AskedTrack};
use crate::pitch::standing::{Standing, standing};
use crate::practice::play::{OverRecording, Round};
use crate::practice::pulse::frame_at;
use crate::sound::out::{Part, Pass, Recorded};
use crate::sound::track::{Lap, Track, TrackError};
use crate::units::{A4, SampleRate};
use std::path::PathBuf;

/// At least so much of it is listened to from bar 1 on, for its tuning, s.
const LISTENED_S: f64 = 120.0;
/// More than this is worth a word before it is made, s of sound: it takes a second or two.
const A_MOMENT_S: f64 = 30.0;
/// Another A4 than the player's is worth a word from here on, cents.
const APART: f64 = 1.0;

/// What to play over instead of the band.
#[derive(Debug, Default, clap::Args)]
#[command(next_help_heading = "Recording")]
pub struct Recording {
    /// Play over this recording instead of the band: WAV, FLAC, Ogg Vorbis or MP3
    #[arg(long, value_name = "FILE", conflicts_with_all = ["input", "without", "half_time", "drone"])]
    track: Option<PathBuf>,
    /// The second of the recording at which bar 1 of the chart begins [default: 0]
    #[arg(long, value_name = "S", requires = "track", allow_negative_numbers = true, value_parser = seconds)]
    track_start: Option<f64>,
    /// How much louder or softer the recording is, in dB, -40 to 20 [default: 0]
    #[arg(long, value_name = "DB", requires = "track", allow_negative_numbers = true, value_parser = gain)]
    track_gain: Option<f64>,
    /// The recording's own tempo, in beats a minute [default: the chart's]; --tempo says how fast it is played
    #[arg(long, value_name = "TEMPO", requires = "track", value_parser = tempo)]
    track_tempo: Option<f64>,
}

fn seconds(text: &str) -> Result<f64, String> {
    text.trim().parse().ok().filter(|s: &f64| s.abs() <= 86_400.0).ok_or_else(|| "it is in seconds, from -86400 to 86400".into())
}

fn gain(text: &str) -> Result<f64, String> {
    text.trim().parse().ok().filter(|db| (-40.0..=20.0).contains(db)).ok_or_else(|| "it is in dB, from -40 to 20".into())
}

impl Recording {
    /// Reads it; nothing where none is wished.
    ///
    /// # Errors
    /// When it cannot be read, is over before it begins or cannot be brought to the tune's tempo; when its name is no text.
    pub fn read(&self, over: &Over) -> Result<Option<Read>, Failure> {
        let Some(file) = &self.track else { return Ok(None) };
        let asked = AskedTrack {
            // A take is graded again from wherever that is asked for.
            file: std::path::absolute(file).unwrap_or_else(|_| file.clone()),
            start_s: self.track_start.unwrap_or(0.0),
            gain_db: self.track_gain.unwrap_or(0.0),
            tempo: self.track_tempo,
            fingerprint: String::new(),
        };
        // What is kept beside a take is text.
        if asked.file.to_str().is_none() {
            let said = "has letters in its name, or in that of its folder, that are no text (UTF-8): rename it, so that a take can say what it was played over";
            return Err(format!("{} {said}", file.display()).into());
        }
        let mut read = Read::of(asked, over)?;
        read.asked.fingerprint = read.track.fingerprint();
        Ok(Some(read))
    }
}

/// A recording that was read, and where it lies under the tune.
pub struct Read {
    asked: AskedTrack,
    track: Track,
    /// Seconds of the recording at which the last bar played ends.
    ends_s: f64,
}

/// A recording as it is to sound, at one rate. Cheap to copy.
#[derive(Clone)]
pub struct Laid {
    passes: Vec<Pass>,
    gain: f32,
    rate: SampleRate,
}

impl Read {
    fn of(asked: AskedTrack, over: &Over) -> Result<Self, TrackError> {
        let (from_s, ends_s) = lies(&asked).stretch(&over.tune);
        let listened_s = asked.start_s.max(0.0) + LISTENED_S;
        let track = Track::open(&asked.file, asked.start_s.min(from_s), ends_s.max(listened_s))?;
        let rate = track.samples().1;
        track.work_s(&laps(&asked, over, rate), rate)?;
        track.sounds_from(from_s)?;
        Ok(Self { asked, track, ends_s })
    }

    /// Whether it is made at once: nothing but its own samples sounds.
    #[must_use]
    pub fn is_made_at_once(&self, over: &Over, rate: SampleRate) -> bool {
        let own = self.track.samples().1;
        own == rate && self.track.work_s(&laps(&self.asked, over, rate), rate).is_ok_and(|seconds| seconds < 1.0)
    }

    /// As a sidecar keeps it.
    #[must_use]
    pub fn asked(&self) -> AskedTrack {
        self.asked.clone()
    }

    /// Where it stands, where that can be told.
    #[must_use]
    pub fn standing(&self) -> Option<Standing> {
        let (samples, rate) = self.track.samples();
        standing(samples, rate)
    }

    /// What the player should know of it, who is graded against `a4`.
    #[must_use]
    pub fn said(&self, stands: Option<Standing>, a4: A4) -> Vec<String> {
        let mut said = vec![stood(stands, a4)];
        if let Some(broken) = self.track.broken() {
            said.push(broken.to_string());
        } else if let Some(length_s) = self.track.length_s().filter(|length_s| *length_s < self.ends_s - 0.01) {
            said.push(format!(
                "the recording is {length_s:.1} s long, the bars played end at {:.1} s of it: the rest is silent",
                self.ends_s
            ));
        }
        said
    }

    /// All rounds at `rate`. Says so where that takes more than a moment.
    ///
    /// # Errors
    /// A tempo too far from its own; what the libraries refuse.
    pub fn laid(&self, over: &Over, rate: SampleRate) -> Result<Laid, TrackError> {
        let laps = laps(&self.asked, over, rate);
        let work_s = self.track.work_s(&laps, rate)?;
        if work_s > A_MOMENT_S {
            remark(format!("the recording is brought to your tempo, {work_s:.0} s of it: a moment"));
        }
        let gain = 10_f64.powf(self.asked.gain_db / 20.0) as f32;
        Ok(Laid { passes: self.track.passes(&laps, rate)?, gain, rate })
    }
}

/// Where each round lies.
fn laps(asked: &AskedTrack, over: &Over, rate: SampleRate) -> Vec<Lap> {
    let zero_s = over.tune.count_in_s(over.count_in);
    let lap = |round: &Round| {
        let at = frame_at(zero_s + round.at_s, rate);
        Lap { at, length: frame_at(zero_s + round.end_s, rate).since(at), from_s: round.from_s, slower: round.slower }
    };
    lies(asked).rounds(&over.tune).iter().map(lap).collect()
}

fn lies(asked: &AskedTrack) -> OverRecording {
    OverRecording { start_s: asked.start_s, tempo: asked.tempo }
}

fn stood(stands: Option<Standing>, a4: A4) -> String {
    let Some(standing) = stands else {
        return format!(
            "at which A4 the recording stands cannot be told: pitch is measured against A4 = {} Hz (--a4 says another)",
            a4.hz()
        );
    };
    let stands = format!("the recording stands at A4 = {:.1} Hz, give or take {:.1}", standing.a4.hz(), standing.uncertain_hz());
    let apart = a4.cents(standing.a4.hz()) - 6900.0;
    if apart.abs() > APART.max(standing.uncertain_cents) {
        format!("{stands}: {:.0} cents from the A4 = {} Hz that you are measured against; --a4 track takes the recording's", apart, a4.hz())
    } else {
        stands
    }
}

/// The A4 of the recording, for `--a4 track`.
///
/// # Errors
/// Where there is no recording, or it cannot be told.
pub fn own_a4(read: Option<&Read>, stands: Option<Standing>) -> Result<A4, Failure> {
    if read.is_none() {
        return Err(WrongUse("--a4 track needs a recording: name it with --track".into()).into());
    }
    let unknown = "at which A4 the recording stands cannot be told: give it in Hz with --a4, or leave it out";
    stands.map(|standing| standing.a4).ok_or_else(|| unknown.into())
}

/// The recording that a take was played over, once more; `None`, and a word to the player, where it is not there as it was.
#[must_use]
pub fn again(band: Option<&AskedBand>, over: &Over, rate: SampleRate) -> Option<Laid> {
    let asked = band?.track.clone()?;
    let without = "it is not taken out of what was heard";
    let read = match Read::of(asked.clone(), over) {
        Ok(read) if read.track.fingerprint() == asked.fingerprint => read,
        Ok(_) => {
            remark(format!("{} is not the recording any more that was played over: {without}", asked.file.display()));
            return None;
        }
        Err(error) => {
            remark(format!("what was played over is not at hand, and {without}: {error}"));
            return None;
        }
    };
    read.laid(over, rate).map_err(remark).ok()
}

impl Laid {
    /// The rate that it sounds at.
    #[must_use]
    pub fn rate(&self) -> SampleRate {
        self.rate
    }

    /// The recording as a part of what sounds; at another rate than its own, none.
    #[must_use]
    pub fn part(&self, rate: SampleRate) -> Option<Box<dyn Part>> {
        (rate == self.rate).then(|| Box::new(Recorded::new(self.passes.clone(), self.gain, rate)) as Box<dyn Part>)
    }
}
