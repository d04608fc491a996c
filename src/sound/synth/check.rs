//! Whether a scenario's numbers are in range: said once, before a sample is played.

use super::SynthError;
use super::scenario::{Gesture, Note, Scenario, Tone};

impl Scenario {
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
