//! What the synthesiser plays, as data: one TOML file a scenario, unknown keys refused.
//!
//! Conventions. Times of a note are seconds from the take's first sample; times of a gesture are seconds from its note's
//! attack. Pitches are frets on strings, string 1 the highest. Sizes are cents above the fretted note, so `cents = 186` is a whole
//! bend that stops 14 short, and `lands_cents = 8` a release that comes home 8 sharp. What is asked for is the pitch by the
//! project's convention (see [`crate::pitch`]): the string is tuned so that the mean over its partials says it.

use serde::Deserialize;

use super::SynthError;

/// One take to be played by the synthesiser.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Scenario {
    /// What it is, in a sentence.
    pub title: String,
    /// Two takes of one scenario and one seed are the same samples.
    #[serde(default = "one")]
    pub seed: u64,
    /// Frames a second, 8000 to 192000.
    #[serde(default = "usual_rate")]
    pub rate_hz: u32,
    /// A above middle C in Hz, 400 to 480.
    #[serde(default = "concert_pitch")]
    pub a4_hz: f64,
    /// Length of the take in seconds; without it, one second after the last note has ended.
    pub length_s: Option<f64>,
    /// MIDI note numbers of the open strings, string 1 first.
    #[serde(default = "standard_tuning")]
    pub tuning_midi: [f64; 6],
    /// How the strings sound.
    #[serde(default)]
    pub tone: Tone,
    /// The melody, in order of time: one string sounds at a time, and a new attack damps the note before.
    #[serde(default, rename = "note")]
    pub notes: Vec<Note>,
    /// Other strings left ringing.
    #[serde(default)]
    pub ringing: Vec<Ringing>,
    /// Mains hum in the pickup.
    pub hum: Option<Hum>,
    /// White noise in the pickup.
    pub noise: Option<Noise>,
    /// Overdrive of everything that comes from the pickup.
    pub drive: Option<Drive>,
    /// Sustained chords of somebody else, added after the overdrive.
    #[serde(default)]
    pub pad: Vec<Pad>,
    /// Where the source reports lost audio; the samples of these places are never given.
    #[serde(default, rename = "gap")]
    pub gaps: Vec<Gap>,
}

/// How the strings sound.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Tone {
    /// RMS level of a note just after its attack, in dB against full scale.
    pub level_dbfs: f64,
    /// Most partials of a note, 1 to 64; those above the Nyquist frequency are left out.
    pub partials: usize,
    /// Amplitudes fall with the power `slope` of the partial's number.
    pub slope: f64,
    /// Where the string is plucked, as a share of its sounding length from the bridge; partials with a node there are weak.
    pub pluck_at: f64,
    /// Seconds in which the first partial falls by 60 dB.
    pub decay_s: f64,
    /// How much faster each higher partial decays: partial k falls `1 + spread (k - 1)` times as fast as the first.
    pub decay_spread: f64,
    /// B of the stiff string at the fret; without it, from the string and the fret.
    pub inharmonicity: Option<f64>,
    /// How sharp the attack is, in cents: tension raised by the wide swing.
    pub glide_cents: f64,
    /// Time constant of the glide back to the note, in seconds.
    pub glide_s: f64,
    /// Level of the pick's noise against the note, in dB.
    pub pick_db: f64,
    /// How long the pick rests on a sounding string before it plucks it anew, in milliseconds.
    pub touch_ms: f64,
    /// How long it takes until a damped string is silent, in milliseconds.
    pub damp_ms: f64,
}

impl Default for Tone {
    /// A clean lead sound. Common practice, no source; the glide is what the Duffing estimate gives for a swing of 1 mm around
    /// fret 7 (3/32 π² EA/T (a/L)²).
    fn default() -> Self {
        Self {
            level_dbfs: -20.0,
            partials: 32,
            slope: 1.2,
            pluck_at: 0.17,
            decay_s: 9.0,
            decay_spread: 0.12,
            inharmonicity: None,
            glide_cents: 3.0,
            glide_s: 0.06,
            pick_db: -8.0,
            touch_ms: 5.0,
            damp_ms: 30.0,
        }
    }
}

/// One note of the melody: an attack and what the fretting hand does until the next.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Note {
    /// Instant of the attack.
    pub at_s: f64,
    /// 1 (highest) to 6.
    pub string: usize,
    /// 0 (open) to 24.
    pub fret: u32,
    /// Louder or softer than the tone's level, in dB.
    #[serde(default)]
    pub level_db: f64,
    /// The fretted note off its equal-tempered place: a string out of tune, in cents.
    #[serde(default)]
    pub detune_cents: f64,
    /// Bent this far before the attack, in cents.
    #[serde(default)]
    pub pre_bend_cents: f64,
    /// Seconds from the attack until a hand damps the string; without it, the note rings until the next attack or dies away.
    pub damped_s: Option<f64>,
    /// What the fretting hand does, in order of time.
    #[serde(default, rename = "then")]
    pub gestures: Vec<Gesture>,
}

/// One thing that a hand does to a sounding string.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(tag = "hand", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Gesture {
    /// Pushes the string to `cents` above the fretted note (below, for a bar's dip).
    Bend {
        /// When it begins to move.
        at_s: f64,
        /// Where it settles.
        cents: f64,
        /// How long the way takes, to the top of an overshoot.
        takes_ms: f64,
        /// How the way is divided.
        #[serde(default)]
        shape: Shape,
        /// How far above `cents` it goes first.
        #[serde(default)]
        overshoot_cents: f64,
        /// How long it takes to come back from there.
        #[serde(default = "usual_settle")]
        settle_ms: f64,
        /// How it moves on while held; negative sinks.
        #[serde(default)]
        drift_cents_per_s: f64,
    },
    /// Lets the string go back.
    Release {
        /// When it begins to move.
        at_s: f64,
        /// Where it comes to rest, above the fretted note.
        #[serde(default)]
        lands_cents: f64,
        /// How long the way takes.
        takes_ms: f64,
        /// How the way is divided.
        #[serde(default)]
        shape: Shape,
    },
    /// Shakes.
    Vibrato {
        /// When it begins.
        at_s: f64,
        /// When it has ended; without it, at the next bend or release, or with the note.
        until_s: Option<f64>,
        /// Swings a second.
        rate_hz: f64,
        /// Half of its width from peak to peak.
        half_width_cents: f64,
        /// On which side of the held pitch it swings.
        #[serde(default)]
        swing: Swing,
        /// How long it takes to come to full width, and to go.
        #[serde(default = "usual_fade")]
        fade_ms: f64,
    },
    /// Picks the string again, wherever the pitch is then: a restrike after a release, a repick during a hold.
    Pick {
        /// When.
        at_s: f64,
        /// Louder or softer than the tone's level, in dB.
        #[serde(default)]
        level_db: f64,
    },
    /// Slides along the string, fret by fret.
    Slide {
        /// When it leaves.
        at_s: f64,
        /// The fret where it ends.
        to_fret: u32,
        /// How long the way takes.
        takes_ms: f64,
    },
    /// Hammers on to a higher fret, or pulls off to a lower one.
    Hammer {
        /// When.
        at_s: f64,
        /// The new fret.
        to_fret: u32,
    },
}

impl Gesture {
    /// When it begins, in seconds from the note's attack.
    #[must_use]
    pub fn at_s(&self) -> f64 {
        match *self {
            Self::Bend { at_s, .. }
            | Self::Release { at_s, .. }
            | Self::Vibrato { at_s, .. }
            | Self::Pick { at_s, .. }
            | Self::Slide { at_s, .. }
            | Self::Hammer { at_s, .. } => at_s,
        }
    }
}

/// How a way is divided over its time.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Shape {
    /// Slow, fast, slow: half a cosine.
    #[default]
    S,
    /// At one speed.
    Straight,
    /// Fast first.
    Early,
    /// Fast last.
    Late,
}

/// On which side of the held pitch a vibrato swings.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Swing {
    /// Both: its centre is the held pitch.
    #[default]
    Both,
    /// Up from it.
    Above,
    /// Down from it.
    Below,
}

/// Another string that sounds along.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Ringing {
    /// 1 (highest) to 6.
    pub string: usize,
    /// 0 (open) to 24.
    #[serde(default)]
    pub fret: u32,
    /// Off its equal-tempered place, in cents.
    #[serde(default)]
    pub detune_cents: f64,
    /// When it begins to sound.
    #[serde(default)]
    pub at_s: f64,
    /// Level at its beginning, in dB below the melody's mean level while the melody sounds.
    pub below_db: f64,
    /// Seconds until it has fallen by 60 dB.
    #[serde(default = "long_decay")]
    pub decay_s: f64,
}

/// Mains hum: a fundamental and its harmonics.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Hum {
    /// 50 or 60, or another mains frequency in Hz.
    pub mains_hz: f64,
    /// RMS level of all of it in dB against full scale.
    pub level_dbfs: f64,
    /// How many harmonics, the fundamental counted.
    #[serde(default = "thirteen")]
    pub harmonics: usize,
    /// How far the mains frequency strays, as a share of it, to and fro in 20 s.
    #[serde(default)]
    pub drift: f64,
    /// When it begins.
    #[serde(default)]
    pub at_s: f64,
}

/// White Gaussian-like noise.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Noise {
    /// The melody's mean power while it sounds over the noise's, in dB.
    pub snr_db: f64,
}

/// Soft clipping.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Drive {
    /// A hard stroke reaches twice the knee.
    Mild,
    /// A hard stroke reaches fifteen times the knee.
    Heavy,
}

/// A sustained chord in the background.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Pad {
    /// When it begins to swell.
    pub at_s: f64,
    /// When it has ended.
    pub until_s: f64,
    /// MIDI note numbers of the chord.
    pub midi: Vec<f64>,
    /// Level below the melody's mean level while it sounds, in dB.
    pub below_db: f64,
}

/// Audio that the source reports as lost.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Gap {
    /// Where it begins.
    pub at_s: f64,
    /// How long it is.
    pub lasts_s: f64,
}

fn one() -> u64 {
    1
}
fn usual_rate() -> u32 {
    48_000
}
fn concert_pitch() -> f64 {
    440.0
}
fn standard_tuning() -> [f64; 6] {
    [64.0, 59.0, 55.0, 50.0, 45.0, 40.0]
}
fn usual_settle() -> f64 {
    90.0
}
fn usual_fade() -> f64 {
    250.0
}
fn long_decay() -> f64 {
    12.0
}
fn thirteen() -> usize {
    13
}

impl Scenario {
    /// Reads a scenario from the text of its TOML file and checks it.
    ///
    /// # Errors
    /// Text that is no scenario, and numbers out of range, with the place.
    pub fn from_toml(text: &str) -> Result<Self, SynthError> {
        let scenario: Self = toml::from_str(text).map_err(|error| SynthError::Form(error.to_string()))?;
        scenario.check()?;
        Ok(scenario)
    }

    /// The MIDI note number of a fret.
    #[must_use]
    pub(super) fn midi(&self, string: usize, fret: u32) -> f64 {
        self.tuning_midi[string - 1] + f64::from(fret)
    }
}
