//! Where a player stands, and what is asked there. Common practice, no source; the levels are our own.

use crate::grading::Tolerance;
use std::fmt;
use std::str::FromStr;

/// How much is asked.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Stage {
    /// The first weeks of bending.
    Starting,
    /// Bends come, and should come reliably.
    #[default]
    Steady,
    /// For the stage and the studio.
    Strong,
}

/// How an attempt is shown while it sounds.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Feedback {
    /// The moving pitch.
    Live,
    /// The moving pitch less and less as it gets better.
    #[default]
    Faded,
    /// Nothing until the note is over.
    After,
}

/// The numbers of a stage.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Numbers {
    /// How far off is right.
    pub tolerance: Tolerance,
    /// Seconds to hold.
    pub hold_s: f64,
    /// Longest quick rise, ms.
    pub quick_ms: f64,
    /// Beats of a slow rise.
    pub slow_beats: f64,
    /// Their tempo.
    pub slow_tempo: f64,
    /// Attempts in a set.
    pub set: u32,
    /// Seconds of rest between two sets.
    pub rest_s: f64,
    /// What is shown.
    pub feedback: Feedback,
}

impl Stage {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Starting, Self::Steady, Self::Strong];

    /// Its word.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Starting => "starting",
            Self::Steady => "steady",
            Self::Strong => "strong",
        }
    }

    /// Its numbers.
    #[must_use]
    pub fn numbers(self) -> Numbers {
        let tolerance = |[cents, touched_cents, large_cents, release_cents, overshoot_cents, beat_ms]: [f64; 6]| Tolerance {
            cents,
            beat_ms,
            touched_cents,
            large_cents,
            release_cents,
            overshoot_cents,
        };
        match self {
            Self::Starting => Numbers {
                tolerance: tolerance([20.0, 30.0, 30.0, 20.0, 30.0, 100.0]),
                hold_s: 1.0,
                quick_ms: 200.0,
                slow_beats: 2.0,
                slow_tempo: 60.0,
                set: 6,
                rest_s: 30.0,
                feedback: Feedback::Live,
            },
            Self::Steady => Numbers {
                tolerance: tolerance([10.0, 20.0, 15.0, 12.0, 20.0, 60.0]),
                hold_s: 1.5,
                quick_ms: 140.0,
                slow_beats: 4.0,
                slow_tempo: 60.0,
                set: 8,
                rest_s: 30.0,
                feedback: Feedback::Faded,
            },
            Self::Strong => Numbers {
                tolerance: tolerance([7.0, 15.0, 10.0, 8.0, 12.0, 35.0]),
                hold_s: 2.5,
                quick_ms: 90.0,
                slow_beats: 4.0,
                slow_tempo: 50.0,
                set: 8,
                rest_s: 30.0,
                feedback: Feedback::After,
            },
        }
    }
}

impl fmt::Display for Stage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.word())
    }
}

impl FromStr for Stage {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        Self::ALL.into_iter().find(|stage| stage.word() == text.trim()).ok_or_else(|| "it is starting, steady or strong".to_owned())
    }
}

impl FromStr for Feedback {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        match text.trim() {
            "live" => Ok(Self::Live),
            "faded" => Ok(Self::Faded),
            "after" => Ok(Self::After),
            _ => Err("it is live, after or faded".to_owned()),
        }
    }
}

impl fmt::Display for Feedback {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::Live => "live",
            Self::Faded => "faded",
            Self::After => "after",
        })
    }
}
