//! The delays from output to input that were measured, one for each pair of devices as they were opened.
//!
//! ```toml
//! [[pair]]
//! input = "guitar"
//! output = "speakers"
//! sample_rate_hz = 48000
//! output_rate_hz = 48000
//! input_buffer = 256
//! output_buffer = 512
//! round_trip_ms = 7.52
//! spread_ms = 0.04
//! by = "sweeps"
//! measured = "2025-03-09T20:15:00+01:00"
//! ```

use super::{LogbookError, whole};
use serde::{Deserialize, Serialize};
use std::fs;
use std::path::Path;

/// What a delay belongs to: another device, rate or buffer has another one.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Pair {
    /// The input's name.
    pub input: String,
    /// The output's name.
    pub output: String,
    /// Frames a second of the input.
    pub sample_rate_hz: u32,
    /// Frames a second of the output.
    pub output_rate_hz: u32,
    /// Frames a callback; 0 where the system does not tell.
    pub input_buffer: u32,
    /// The same for the output.
    pub output_buffer: u32,
}

/// One measurement.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct RoundTrip {
    /// Of what.
    #[serde(flatten)]
    pub pair: Pair,
    /// From what is played to what is heard, beyond what the cards tell of themselves, ms.
    pub round_trip_ms: f64,
    /// Half of the range of the single measurements, ms.
    pub spread_ms: f64,
    /// `sweeps` or `playing`.
    pub by: String,
    /// When (RFC 3339).
    pub measured: String,
}

/// All of them.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct RoundTrips {
    #[serde(default, rename = "pair")]
    pairs: Vec<RoundTrip>,
}

impl RoundTrips {
    /// Reads the file; none is as good as an empty one.
    ///
    /// # Errors
    /// When it cannot be read, or is broken: the line is named.
    pub fn load(path: &Path) -> Result<Self, LogbookError> {
        let bytes = match fs::read(path) {
            Ok(bytes) => bytes,
            Err(reason) if reason.kind() == std::io::ErrorKind::NotFound => return Ok(Self::default()),
            Err(reason) => return Err(LogbookError::unreadable(path, reason)),
        };
        let text = String::from_utf8_lossy(&bytes);
        toml::from_str(&text).map_err(|error| {
            let line = error.span().map_or(1, |span| 1 + text[..span.start].matches('\n').count());
            LogbookError::Sidecar { path: path.to_owned(), line, problem: error.message().replace('\n', " ") }
        })
    }

    /// Writes the file, whole or not at all.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn save(&self, path: &Path) -> Result<(), LogbookError> {
        let unwritable = |reason| LogbookError::unwritable(path, reason);
        if let Some(folder) = path.parent() {
            fs::create_dir_all(folder).map_err(unwritable)?;
        }
        let text = toml::to_string(self).map_err(|error| unwritable(std::io::Error::other(error)))?;
        whole::exchange(path, text.as_bytes()).map_err(unwritable)
    }

    /// What was measured for exactly this pair.
    #[must_use]
    pub fn of(&self, pair: &Pair) -> Option<&RoundTrip> {
        self.pairs.iter().find(|known| known.pair == *pair)
    }

    /// Where this pair was measured with another rate or buffer only: a sentence that says so.
    #[must_use]
    pub fn nearly(&self, pair: &Pair) -> Option<String> {
        let known = self.pairs.iter().find(|known| known.pair.input == pair.input && known.pair.output == pair.output)?;
        (known.pair != *pair).then(|| {
            format!(
                "the delay of {} and {} was measured with other rates or buffers ({} Hz, {} and {} frames; now {} Hz, {} and {}): measure it again with `landfall calibrate`",
                pair.input,
                pair.output,
                known.pair.sample_rate_hz,
                known.pair.input_buffer,
                known.pair.output_buffer,
                pair.sample_rate_hz,
                pair.input_buffer,
                pair.output_buffer
            )
        })
    }

    /// Keeps a measurement in place of the one before, which is handed back.
    pub fn keep(&mut self, fresh: RoundTrip) -> Option<RoundTrip> {
        if let Some(known) = self.pairs.iter_mut().find(|known| known.pair == fresh.pair) {
            return Some(std::mem::replace(known, fresh));
        }
        self.pairs.push(fresh);
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn measured(buffer: u32, round_trip_ms: f64) -> RoundTrip {
        let pair = Pair {
            input: "guitar".into(),
            output: "speakers".into(),
            sample_rate_hz: 48_000,
            output_rate_hz: 44_100,
            input_buffer: buffer,
            output_buffer: 512,
        };
        RoundTrip { pair, round_trip_ms, spread_ms: 0.04, by: "sweeps".into(), measured: "2025-03-09T20:15:00+01:00".into() }
    }

    #[test]
    fn each_pair_has_its_own_delay_and_the_newest_stands() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("data").join("calibration.toml");
        let mut trips = RoundTrips::load(&path).unwrap();
        assert_eq!(trips, RoundTrips::default());
        assert_eq!(trips.keep(measured(256, 7.5)), None);
        assert_eq!(trips.keep(measured(512, 12.0)), None);
        assert_eq!(trips.keep(measured(256, 8.25)), Some(measured(256, 7.5)));
        trips.save(&path).unwrap();
        let again = RoundTrips::load(&path).unwrap();
        assert_eq!(again.of(&measured(256, 0.0).pair), Some(&measured(256, 8.25)));
        assert_eq!(again.of(&measured(128, 0.0).pair), None);
        assert!(again.nearly(&measured(128, 0.0).pair).unwrap().contains("128"));
    }

    #[test]
    fn a_broken_file_names_its_line() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("calibration.toml");
        fs::write(&path, "[[pair]]\ninput = 3\n").unwrap();
        let said = RoundTrips::load(&path).unwrap_err().to_string();
        assert!(said.contains("calibration.toml"), "{said}");
    }
}
