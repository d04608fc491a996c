//! One graded attempt: everything that a row of the log says of what was played.

use super::{AskedFor, Fault, Measures, Standing, Technique};
use crate::units::{A4, FrameTime, SampleRate};

/// One bent note, graded. Emitted in the order of the take.
#[derive(Clone, Debug, PartialEq)]
pub struct Attempt {
    /// From 1 in the take.
    pub attempt: u32,
    /// Which step of the drill it answers, from 1; `None` outside of one.
    pub step: Option<u32>,
    /// What a drill asked for at its time, where this is something else and answers no step.
    pub instead_of: Option<AskedFor>,
    /// From the attack to the end of what was measured (with the restrike), in frames of the take.
    pub span: (FrameTime, FrameTime),
    /// As played.
    pub technique: Technique,
    /// The wanted origin, cents on the MIDI scale; `origin_note` is its spelling.
    pub origin_cents: Option<f64>,
    /// The wanted target, cents on the MIDI scale; `target_note` is the spelling of the note nearest to it.
    pub target_cents: Option<f64>,
    /// Target minus origin.
    pub bend_cents: Option<f64>,
    /// The target's place in the chord, where one was given.
    pub degree: Option<String>,
    /// What the target is to the chord, where one was given and no pitch was named; for the words, not for the row.
    pub standing: Option<Standing>,
    /// All measured columns.
    pub measures: Measures,
    /// Picked again at the landing pitch in time; `false` also where nothing was released.
    pub restrike: bool,
    /// Added: the landing as played, cents on the MIDI scale; `landing_note` is the note nearest to it.
    pub landing_cents: Option<f64>,
    /// Added: strokes during the hold at the held pitch.
    pub repicks: u32,
    /// 0 to 100; `None` when it could not be graded.
    pub score: Option<f64>,
    /// What was off, each once, in the order of [`Fault::ALL`].
    pub faults: Vec<Fault>,
    /// The tolerance that its pitch was graded with: that of the hold, or the wider one of a touched top or a large bend.
    pub tolerance_cents: f64,
    /// The tolerance that its landing was graded with; for the words, not for the row.
    pub release_tolerance_cents: f64,
    /// The tuning reference.
    pub a4: A4,
    /// Frames a second of the take.
    pub sample_rate: SampleRate,
}

impl Attempt {
    /// Whether a note was asked for that is not bent.
    #[must_use]
    pub fn is_plain(&self) -> bool {
        self.bend_cents.is_some_and(|cents| cents.abs() < 1e-9)
    }

    /// MIDI number of the note nearest to the origin.
    #[must_use]
    pub fn origin_midi(&self) -> Option<i32> {
        self.origin_cents.map(nearest_midi)
    }

    /// MIDI number of the note nearest to the target (for a quarter tone, halves go up).
    #[must_use]
    pub fn target_midi(&self) -> Option<i32> {
        self.target_cents.map(nearest_midi)
    }

    /// MIDI number of the note nearest to the landing.
    #[must_use]
    pub fn landing_midi(&self) -> Option<i32> {
        self.landing_cents.map(nearest_midi)
    }
}

/// The equal-tempered note nearest to a pitch in cents, as its MIDI number; halves go up.
#[must_use]
pub fn nearest_midi(cents: f64) -> i32 {
    (cents / 100.0 + 0.5).floor() as i32
}
