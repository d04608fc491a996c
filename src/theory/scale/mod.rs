//! Scales and modes, spelled by their degrees.

mod table;

pub use table::SCALES;

use super::degree::Degree;
use super::interval::Interval;
use super::note::NoteName;
use super::words::{did_you_mean, nearest, quotable};
use super::{Note, TheoryError};
use std::fmt;
use std::str::FromStr;

/// A kind of scale: its degrees and its names.
#[derive(Debug, PartialEq, Eq)]
pub struct ScaleKind {
    /// The name landfall says, then others it understands.
    pub names: &'static [&'static str],
    /// Its degrees from the tonic up, each spelled by its letter.
    pub degrees: &'static [(u8, i8)],
}

impl ScaleKind {
    /// The kind of a name (any capitals).
    #[must_use]
    pub fn find(name: &str) -> Option<&'static Self> {
        let name = name.split_whitespace().collect::<Vec<_>>().join(" ").to_lowercase().replace('♭', "b").replace('♯', "#");
        SCALES.iter().find(|kind| kind.names.contains(&name.as_str()))
    }

    /// The degrees.
    pub fn degrees(&self) -> impl Iterator<Item = Degree> + '_ {
        self.degrees.iter().map(|&(number, alter)| Degree::new(number, alter))
    }

    /// Every name of every kind.
    pub fn all_names() -> impl Iterator<Item = &'static str> {
        SCALES.iter().flat_map(|kind| kind.names.iter().copied())
    }
}

/// A scale on a tonic.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Scale {
    /// The first note.
    pub tonic: NoteName,
    /// Which scale.
    pub kind: &'static ScaleKind,
    name: &'static str,
}

impl Scale {
    /// A scale from its parts, called by the first name of the kind.
    #[must_use]
    pub fn new(tonic: NoteName, kind: &'static ScaleKind) -> Self {
        Self { tonic, kind, name: kind.names.first().copied().unwrap_or_default() }
    }

    /// The name by which it was asked for, without the tonic.
    #[must_use]
    pub fn name(&self) -> &'static str {
        self.name
    }

    /// Degree and name of each note, from the tonic up.
    pub fn notes(&self) -> impl Iterator<Item = (Degree, NoteName)> + '_ {
        self.kind.degrees().map(|degree| (degree, self.tonic.up(degree.interval())))
    }

    /// Degree and name of the note with the pitch class of a MIDI number.
    #[must_use]
    pub fn note_of_pitch(&self, midi: i32) -> Option<(Degree, NoteName)> {
        self.notes().find(|(_, name)| name.class() == midi.rem_euclid(12))
    }

    /// The degree of a MIDI number in the scale.
    #[must_use]
    pub fn degree_of_pitch(&self, midi: i32) -> Option<Degree> {
        self.note_of_pitch(midi).map(|(degree, _)| degree)
    }

    /// Whether a MIDI number is a note of the scale.
    #[must_use]
    pub fn contains(&self, midi: i32) -> bool {
        self.degree_of_pitch(midi).is_some()
    }

    /// A MIDI number spelled as the scale spells it.
    #[must_use]
    pub fn spell(&self, midi: i32) -> Option<Note> {
        self.note_of_pitch(midi).and_then(|(_, name)| name.at(midi))
    }

    /// The same scale, `interval` higher.
    #[must_use]
    pub fn up(&self, interval: Interval) -> Self {
        Self { tonic: self.tonic.up(interval), ..*self }
    }
}

impl fmt::Display for Scale {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&format!("{} {}", self.tonic, self.name))
    }
}

impl FromStr for Scale {
    type Err = TheoryError;

    /// Reads `A minor pentatonic`: a tonic, a space, a name of [`SCALES`].
    fn from_str(text: &str) -> Result<Self, TheoryError> {
        let found = quotable(text);
        let wrong = |reason: String, hint: String| TheoryError::Scale { found: found.clone(), reason, hint };
        let (tonic, name) = found.split_once(char::is_whitespace).unwrap_or((&found, ""));
        let Ok(tonic) = tonic.parse::<NoteName>() else {
            let capital = tonic.get(..1).map(str::to_uppercase).unwrap_or_default() + tonic.get(1..).unwrap_or_default();
            let known = capital.parse::<NoteName>().is_ok() && !name.is_empty();
            let hint = if known { format!("; did you mean {capital} {name}?") } else { String::new() };
            return Err(wrong(format!("'{tonic}' is no note to begin on; write for instance A minor pentatonic"), hint));
        };
        let name = name.trim();
        if name.is_empty() {
            return Err(wrong(format!("it has no name; write for instance {tonic} major or {tonic} minor pentatonic"), String::new()));
        }
        let Some(kind) = ScaleKind::find(name) else {
            let hint = match nearest(name, ScaleKind::all_names()) {
                Some(word) => format!("; did you mean {tonic} {word}?"),
                None => did_you_mean(name, ["minor pentatonic", "major", "minor", "blues"]),
            };
            return Err(wrong(format!("there is no scale called '{name}'"), hint));
        };
        let asked = name.split_whitespace().collect::<Vec<_>>().join(" ").to_lowercase();
        let name = kind.names.iter().copied().find(|known| *known == asked).unwrap_or(kind.names[0]);
        Ok(Self { tonic, kind, name })
    }
}
