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

    /// Checks every number.
    ///
    /// # Errors
    /// The first number out of range, with its place and the range.
    pub fn check(&self) -> Result<(), SynthError> {
        let all = "the scenario";
        within(all, "rate_hz", f64::from(self.rate_hz), 8_000.0, 192_000.0)?;
        within(all, "a4_hz", self.a4_hz, 400.0, 480.0)?;
        within(all, "length_s", self.length_s.unwrap_or(1.0), 0.0, 7200.0)?;
        for &midi in &self.tuning_midi {
            within(all, "tuning_midi", midi, 20.0, 90.0)?;
        }
        self.tone.check()?;
        let mut earlier = 0.0;
        for (index, note) in self.notes.iter().enumerate() {
            let place = format!("note {}", index + 1);
            within(&place, "at_s (notes in order of time)", note.at_s, earlier, 7200.0)?;
            earlier = note.at_s + 0.02;
            note.check(&place)?;
        }
        for ringing in &self.ringing {
            on_the_neck("ringing", ringing.string, ringing.fret)?;
            within("ringing", "at_s", ringing.at_s, 0.0, 7200.0)?;
            within("ringing", "decay_s", ringing.decay_s, 0.05, 60.0)?;
            within("ringing", "below_db", ringing.below_db, -20.0, 100.0)?;
            within("ringing", "detune_cents", ringing.detune_cents, -100.0, 100.0)?;
        }
        if let Some(hum) = &self.hum {
            within("hum", "mains_hz", hum.mains_hz, 16.0, 400.0)?;
            within("hum", "level_dbfs", hum.level_dbfs, -150.0, 0.0)?;
            within("hum", "harmonics", hum.harmonics as f64, 1.0, 60.0)?;
            within("hum", "drift", hum.drift, -0.01, 0.01)?;
            within("hum", "at_s", hum.at_s, 0.0, 7200.0)?;
        }
        if let Some(noise) = &self.noise {
            within("noise", "snr_db", noise.snr_db, -20.0, 120.0)?;
        }
        for pad in &self.pad {
            within("pad", "at_s", pad.at_s, 0.0, 7200.0)?;
            within("pad", "until_s", pad.until_s, pad.at_s, 7200.0)?;
            within("pad", "below_db", pad.below_db, -20.0, 100.0)?;
            for &midi in &pad.midi {
                within("pad", "midi", midi, 20.0, 110.0)?;
            }
        }
        for gap in &self.gaps {
            within("gap", "at_s", gap.at_s, 0.0, 7200.0)?;
            within("gap", "lasts_s", gap.lasts_s, 0.0, 7200.0)?;
        }
        Ok(())
    }
}

impl Tone {
    fn check(&self) -> Result<(), SynthError> {
        let place = "tone";
        within(place, "level_dbfs", self.level_dbfs, -120.0, 0.0)?;
        within(place, "partials", self.partials as f64, 1.0, 64.0)?;
        within(place, "slope", self.slope, 0.0, 6.0)?;
        within(place, "pluck_at", self.pluck_at, 0.01, 0.5)?;
        within(place, "decay_s", self.decay_s, 0.05, 120.0)?;
        within(place, "decay_spread", self.decay_spread, 0.0, 10.0)?;
        within(place, "inharmonicity", self.inharmonicity.unwrap_or(0.0), 0.0, 0.01)?;
        within(place, "glide_cents", self.glide_cents, -100.0, 100.0)?;
        within(place, "glide_s", self.glide_s, 0.001, 2.0)?;
        within(place, "pick_db", self.pick_db, -120.0, 20.0)?;
        within(place, "touch_ms", self.touch_ms, 0.5, 200.0)?;
        within(place, "damp_ms", self.damp_ms, 1.0, 2000.0)
    }
}

impl Note {
    fn check(&self, place: &str) -> Result<(), SynthError> {
        on_the_neck(place, self.string, self.fret)?;
        within(place, "level_db", self.level_db, -80.0, 20.0)?;
        within(place, "detune_cents", self.detune_cents, -100.0, 100.0)?;
        within(place, "pre_bend_cents", self.pre_bend_cents, -1200.0, 1200.0)?;
        within(place, "damped_s", self.damped_s.unwrap_or(1.0), 0.01, 7200.0)?;
        let mut earlier = 0.0;
        for gesture in &self.gestures {
            within(place, "at_s (gestures in order of time)", gesture.at_s(), earlier, 7200.0)?;
            earlier = gesture.at_s();
            gesture.check(place)?;
        }
        Ok(())
    }
}

impl Gesture {
    fn check(&self, place: &str) -> Result<(), SynthError> {
        match *self {
            Self::Bend { cents, takes_ms, overshoot_cents, settle_ms, drift_cents_per_s, .. } => {
                within(place, "cents", cents, -1200.0, 1200.0)?;
                within(place, "takes_ms", takes_ms, 1.0, 60_000.0)?;
                within(place, "overshoot_cents", overshoot_cents, 0.0, 400.0)?;
                within(place, "settle_ms", settle_ms, 1.0, 5_000.0)?;
                within(place, "drift_cents_per_s", drift_cents_per_s, -400.0, 400.0)
            }
            Self::Release { lands_cents, takes_ms, .. } => {
                within(place, "lands_cents", lands_cents, -1200.0, 1200.0)?;
                within(place, "takes_ms", takes_ms, 1.0, 60_000.0)
            }
            Self::Vibrato { at_s, until_s, rate_hz, half_width_cents, fade_ms, .. } => {
                within(place, "until_s", until_s.unwrap_or(at_s), at_s, 7200.0)?;
                within(place, "rate_hz", rate_hz, 0.1, 20.0)?;
                within(place, "half_width_cents", half_width_cents, 0.0, 400.0)?;
                within(place, "fade_ms", fade_ms, 0.0, 10_000.0)
            }
            Self::Pick { level_db, .. } => within(place, "level_db", level_db, -80.0, 20.0),
            Self::Slide { to_fret, takes_ms, .. } => {
                on_the_neck(place, 1, to_fret)?;
                within(place, "takes_ms", takes_ms, 1.0, 60_000.0)
            }
            Self::Hammer { to_fret, .. } => on_the_neck(place, 1, to_fret),
        }
    }
}

fn on_the_neck(place: &str, string: usize, fret: u32) -> Result<(), SynthError> {
    within(place, "string", string as f64, 1.0, 6.0)?;
    within(place, "fret", f64::from(fret), 0.0, 24.0)
}

/// NaN is within nothing.
fn within(place: &str, field: &'static str, value: f64, least: f64, most: f64) -> Result<(), SynthError> {
    if (least..=most).contains(&value) { Ok(()) } else { Err(SynthError::Range { place: place.to_owned(), field, value, least, most }) }
}
