//! Tunings: the notes of the open strings.

use super::Letter::{A, B, D, E, G};
use super::note::{Note, NoteName};
use super::words::{nearest, quotable};
use super::{Interval, TheoryError};
use std::fmt;
use std::str::FromStr;

/// Tunings with a name, low to high, and what they are.
pub const TUNINGS: &[(&str, &str)] = &[
    ("standard", "E2 A2 D3 G3 B3 E4"),
    ("drop D", "D2 A2 D3 G3 B3 E4"),
    ("double drop D", "D2 A2 D3 G3 B3 D4"),
    ("half step down", "Eb2 Ab2 Db3 Gb3 Bb3 Eb4"),
    ("whole step down", "D2 G2 C3 F3 A3 D4"),
    ("drop C", "C2 G2 C3 F3 A3 D4"),
    ("open D", "D2 A2 D3 F#3 A3 D4"),
    ("open D minor", "D2 A2 D3 F3 A3 D4"),
    ("open E", "E2 B2 E3 G#3 B3 E4"),
    ("open E minor", "E2 B2 E3 G3 B3 E4"),
    ("open G", "D2 G2 D3 G3 B3 D4"),
    ("open G minor", "D2 G2 D3 G3 Bb3 D4"),
    ("open A", "E2 A2 E3 A3 C#4 E4"),
    ("open C", "C2 G2 C3 G3 C4 E4"),
    ("DADGAD", "D2 A2 D3 G3 A3 D4"),
    ("all fourths", "E2 A2 D3 G3 C4 F4"),
    ("baritone", "B1 E2 A2 D3 F#3 B3"),
    ("high strung", "E3 A3 D4 G4 B3 E4"),
    ("7 strings", "B1 E2 A2 D3 G3 B3 E4"),
    ("8 strings", "F#1 B1 E2 A2 D3 G3 B3 E4"),
    ("9 strings", "C#1 F#1 B1 E2 A2 D3 G3 B3 E4"),
    ("bass", "E1 A1 D2 G2"),
    ("5-string bass", "B0 E1 A1 D2 G2"),
    ("ukulele", "G4 C4 E4 A4"),
];

/// The open strings in the order of the neck; string 1 is the last one, whatever its pitch (a re-entrant tuning is not sorted).
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Tuning {
    strings: Vec<Note>,
}

impl Tuning {
    /// E2 A2 D3 G3 B3 E4.
    #[must_use]
    pub fn standard() -> Self {
        let note = |letter, octave| Note { name: NoteName::new(letter, 0), octave };
        Self { strings: vec![note(E, 2), note(A, 2), note(D, 3), note(G, 3), note(B, 3), note(E, 4)] }
    }

    /// The strings as they lie, lowest number last.
    #[must_use]
    pub fn low_to_high(&self) -> &[Note] {
        &self.strings
    }

    /// How many strings: 4 to 9.
    #[must_use]
    pub fn count(&self) -> u8 {
        self.strings.len() as u8
    }

    /// The open note of a string; 1 is the highest string.
    #[must_use]
    pub fn open(&self, string: u8) -> Option<Note> {
        self.strings.len().checked_sub(usize::from(string)).filter(|_| string > 0).map(|index| self.strings[index])
    }

    /// All strings `interval` higher.
    #[must_use]
    pub fn up(&self, interval: Interval) -> Self {
        Self { strings: self.strings.iter().map(|note| note.up(interval)).collect() }
    }

    /// The name of the tuning where it has one.
    #[must_use]
    pub fn name(&self) -> Option<&'static str> {
        let spelled = self.to_string();
        TUNINGS.iter().find(|(_, notes)| *notes == spelled).map(|(name, _)| *name)
    }
}

impl fmt::Display for Tuning {
    /// The notes, low to high: `E2 A2 D3 G3 B3 E4`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.strings.iter().map(Note::to_string).collect::<Vec<_>>().join(" "))
    }
}

impl FromStr for Tuning {
    type Err = TheoryError;

    /// Reads a name of [`TUNINGS`] or 4 to 9 notes, low to high, `D2 A2 D3 G3 B3 E4`. Without octaves (`D A D G B E`) each string
    /// takes the octave nearest to the ordinary string in its place.
    fn from_str(text: &str) -> Result<Self, TheoryError> {
        let found = quotable(text);
        let wrong = |reason: String, hint: String| TheoryError::Tuning { found: found.clone(), reason, hint };
        let plain = found.replace(['-', '_'], " ").to_lowercase();
        let named = |(name, _): &&(&str, &str)| name.replace('-', " ").to_lowercase() == plain;
        let written = TUNINGS.iter().find(named).map_or(found.as_str(), |(_, notes)| notes);
        let words: Vec<&str> = written.split([' ', ',', '\t', ';']).filter(|word| !word.is_empty()).collect();
        if words.len() < 2 || words.iter().all(|word| NoteName::read(word).is_none()) {
            let hint =
                nearest(&found, TUNINGS.iter().map(|(name, _)| *name)).map_or_else(String::new, |name| format!("; did you mean {name}?"));
            return Err(wrong("write its notes from low to high (E2 A2 D3 G3 B3 E4) or a name such as drop D".to_string(), hint));
        }
        if !(4..=9).contains(&words.len()) {
            return Err(wrong(format!("it has {} strings; landfall knows necks of 4 to 9", words.len()), String::new()));
        }
        let usual = usual_strings(words.len());
        let mut strings = Vec::with_capacity(words.len());
        for (word, near) in words.iter().zip(usual) {
            let note = match word.parse::<NoteName>() {
                Ok(name) => nearest_octave(name, near),
                Err(_) => word.parse::<Note>().map_err(|error| wrong(error.to_string(), String::new()))?,
            };
            if !(12..=100).contains(&note.midi()) {
                return Err(wrong(format!("{word} is no pitch for a string; C0 to E7 are"), String::new()));
            }
            strings.push(note);
        }
        Ok(Self { strings })
    }
}

/// MIDI numbers of the ordinary strings of an instrument with `count` strings: basses, guitars, then lower strings added.
fn usual_strings(count: usize) -> Vec<i32> {
    let nine = [25, 30, 35, 40, 45, 50, 55, 59, 64];
    match count {
        4 => vec![28, 33, 38, 43],
        5 => vec![23, 28, 33, 38, 43],
        _ => nine[9 - count.min(9)..].to_vec(),
    }
}

fn nearest_octave(name: NoteName, near: i32) -> Note {
    let octave = |octave| Note { name, octave };
    (-1..=8).map(octave).min_by_key(|note| (note.midi() - near).abs()).unwrap_or(octave(3))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_named_tuning_reads_as_its_notes_and_back() {
        for (name, notes) in TUNINGS {
            let tuning: Tuning = name.parse().unwrap();
            assert_eq!(tuning.to_string(), *notes, "{name}");
            assert_eq!(tuning.name(), Some(*name));
        }
    }

    #[test]
    fn notes_without_octaves_lie_near_the_ordinary_strings() {
        assert_eq!("D A D G A D".parse::<Tuning>().unwrap().to_string(), "D2 A2 D3 G3 A3 D4");
        assert_eq!("C G C F A D".parse::<Tuning>().unwrap().to_string(), "C2 G2 C3 F3 A3 D4");
        assert_eq!("drop-d".parse::<Tuning>().unwrap().name(), Some("drop D"));
    }

    #[test]
    fn string_1_is_the_last_even_where_another_sounds_higher() {
        let ukulele: Tuning = "G4 C4 E4 A4".parse().unwrap();
        assert_eq!(ukulele.open(1).unwrap().to_string(), "A4");
        assert_eq!(ukulele.open(4).unwrap().to_string(), "G4");
        assert_eq!(ukulele.open(5), None);
        assert_eq!(ukulele.open(0), None);
    }

    #[test]
    fn a_wrong_tuning_is_named() {
        for (text, says) in
            [("E2 A2 D3 G3 X3 E4", "X3"), ("E2 A2 D3", "3 strings"), ("standart", "standard"), ("drop X", "drop"), ("", "''")]
        {
            let error = text.parse::<Tuning>().unwrap_err().to_string();
            assert!(error.contains(says), "{text}: {error}");
        }
    }
}
