//! How a beat is divided.

use super::error::ChartFault;
use crate::theory::words::{nearest, quotable};

/// Feels with a name; what contains `shuffle`, `swing` or `swung` is swung, anything else is straight.
const KNOWN: [&str; 8] =
    ["straight", "even", "shuffle", "swing", "straight eighths", "straight sixteenths", "swung eighths", "swung sixteenths"];

/// Straight or swung, as it was written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Feel {
    text: String,
    swung: bool,
}

impl Default for Feel {
    fn default() -> Self {
        Self { text: "straight".to_string(), swung: false }
    }
}

impl Feel {
    /// Reads a feel. Words that landfall does not know are kept and played straight.
    ///
    /// # Errors
    /// [`ChartFault::Feel`] where the word is a slip of one that it knows.
    pub fn parse(text: &str) -> Result<Self, ChartFault> {
        let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
        let small = text.to_lowercase();
        let has = |word: &str| small.split([' ', '-']).any(|part| part == word);
        let swung = has("shuffle") || has("swing") || has("swung");
        if !swung
            && !has("straight")
            && !has("even")
            && let Some(nearest) = nearest(&small, KNOWN)
        {
            return Err(ChartFault::Feel { found: quotable(&text), nearest });
        }
        Ok(Self { text, swung })
    }

    /// As it was written.
    #[must_use]
    pub fn text(&self) -> &str {
        &self.text
    }

    /// Whether off-beats come late.
    #[must_use]
    pub fn is_swung(&self) -> bool {
        self.swung
    }

    /// Where in a beat a player puts what is written at `written` (0 to 1): unchanged when straight; swung 2:1, so that the written
    /// half comes at two thirds (common practice; played ratios fall with tempo: Friberg & Sundström, Music Perception 19, 2002).
    #[must_use]
    pub fn played(&self, written: f64) -> f64 {
        if !self.swung {
            written
        } else if written < 0.5 {
            written * 4.0 / 3.0
        } else {
            2.0 / 3.0 + (written - 0.5) * 2.0 / 3.0
        }
    }
}
