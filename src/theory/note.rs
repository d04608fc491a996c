//! Notes by letter, accidental and octave.

use super::TheoryError;
use super::interval::Interval;
use super::words::quotable;
use crate::units::A4;
use std::fmt;
use std::str::FromStr;

/// The seven letters, from C, where the octave number changes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Letter {
    /// do
    C,
    /// re
    D,
    /// mi
    E,
    /// fa
    F,
    /// sol
    G,
    /// la
    A,
    /// ti
    B,
}

impl Letter {
    /// All letters from C up.
    pub const ALL: [Self; 7] = [Self::C, Self::D, Self::E, Self::F, Self::G, Self::A, Self::B];

    /// Semitones above C of the natural note.
    #[must_use]
    pub fn semitone(self) -> i32 {
        [0, 2, 4, 5, 7, 9, 11][self as usize]
    }

    /// The letter `steps` letters further up (down where negative).
    #[must_use]
    pub fn up(self, steps: i32) -> Self {
        Self::ALL[(self as i32 + steps).rem_euclid(7) as usize]
    }

    fn parse(c: char) -> Option<Self> {
        Self::ALL.into_iter().find(|letter| letter.symbol() == c.to_ascii_uppercase())
    }

    fn symbol(self) -> char {
        ['C', 'D', 'E', 'F', 'G', 'A', 'B'][self as usize]
    }
}

/// A note without its octave: `Bb`, `F##`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct NoteName {
    /// The letter.
    pub letter: Letter,
    /// Semitones that the accidentals raise it: -1 for b, 2 for ##.
    pub alter: i8,
}

impl NoteName {
    /// A name from its parts.
    #[must_use]
    pub const fn new(letter: Letter, alter: i8) -> Self {
        Self { letter, alter }
    }

    /// The pitch class: semitones above C, 0 to 11.
    #[must_use]
    pub fn class(self) -> i32 {
        (self.letter.semitone() + i32::from(self.alter)).rem_euclid(12)
    }

    /// The name that lies `interval` above.
    #[must_use]
    pub fn up(self, interval: Interval) -> Self {
        Note { name: self, octave: 4 }.up(interval).name
    }

    /// The interval from here up to `other`, smaller than an octave by letters.
    #[must_use]
    pub fn interval_to(self, other: Self) -> Interval {
        let steps = (other.letter as i32 - self.letter as i32).rem_euclid(7);
        let natural = (other.letter.semitone() - self.letter.semitone()).rem_euclid(12);
        Interval::new(steps, natural + i32::from(other.alter) - i32::from(self.alter))
    }

    /// The note of this name with the MIDI number `midi`, if it has that pitch class.
    #[must_use]
    pub fn at(self, midi: i32) -> Option<Note> {
        let natural = midi - i32::from(self.alter) - self.letter.semitone();
        (natural.rem_euclid(12) == 0).then(|| Note { name: self, octave: natural / 12 - 1 })
    }

    /// The usual name of a pitch class: naturals, then `C# Eb F# Ab Bb`, which is what players say where no key tells otherwise.
    #[must_use]
    pub fn usual(class: i32) -> Self {
        let (letter, alter) = [
            (Letter::C, 0),
            (Letter::C, 1),
            (Letter::D, 0),
            (Letter::E, -1),
            (Letter::E, 0),
            (Letter::F, 0),
            (Letter::F, 1),
            (Letter::G, 0),
            (Letter::A, -1),
            (Letter::A, 0),
            (Letter::B, -1),
            (Letter::B, 0),
        ][class.rem_euclid(12) as usize];
        Self { letter, alter }
    }

    /// Reads the letter and accidentals (# b x ♯ ♭, two at most) at the beginning of `text`; also what is left of it.
    #[must_use]
    pub fn read(text: &str) -> Option<(Self, &str)> {
        let mut chars = text.chars();
        let first = chars.next()?;
        // A small letter is no chord: `b` is a flat and `m` is minor.
        let letter = Letter::parse(first).filter(|_| first.is_ascii_uppercase())?;
        let mut rest = chars.as_str();
        let mut alter: i8 = 0;
        while let Some(c) = rest.chars().next() {
            let step = match c {
                '#' | '♯' => 1,
                'b' | '♭' => -1,
                'x' | '𝄪' => 2,
                '𝄫' => -2,
                _ => break,
            };
            if alter != 0 && (alter > 0) != (step > 0) || (alter + step).abs() > 2 {
                return None;
            }
            alter += step;
            rest = &rest[c.len_utf8()..];
        }
        Some((Self { letter, alter }, rest))
    }
}

impl fmt::Display for NoteName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let sign = if self.alter < 0 { "b" } else { "#" };
        let text = format!("{}{}", self.letter.symbol(), sign.repeat(usize::from(self.alter.unsigned_abs())));
        f.pad(&text)
    }
}

impl FromStr for NoteName {
    type Err = TheoryError;

    fn from_str(text: &str) -> Result<Self, TheoryError> {
        match Self::read(text.trim()) {
            Some((name, "")) => Ok(name),
            _ => Err(not_a_note(text)),
        }
    }
}

/// A note: `Bb4`. The octave counts by the letter, so `Cb4` is MIDI 59 and `B#3` is MIDI 60.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Note {
    /// Letter and accidentals.
    pub name: NoteName,
    /// The octave of the letter; middle C begins octave 4.
    pub octave: i32,
}

impl Note {
    /// The MIDI note number; 69 is A4. May be negative for notes under C-1.
    #[must_use]
    pub fn midi(self) -> i32 {
        12 * (self.octave + 1) + self.name.letter.semitone() + i32::from(self.name.alter)
    }

    /// Pitch in cents on the MIDI scale: 6900 for A4 (the contract pitch, `units::A4::cents`).
    #[must_use]
    pub fn cents(self) -> f64 {
        f64::from(self.midi()) * 100.0
    }

    /// Frequency in Hz in equal temperament (ISO 16 where `a4` is 440).
    #[must_use]
    pub fn hz(self, a4: A4) -> f64 {
        a4.hz_of(self.cents())
    }

    /// The note `interval` above, spelled by the letter.
    #[must_use]
    pub fn up(self, interval: Interval) -> Self {
        let place = self.name.letter as i32 + interval.steps;
        let letter = self.name.letter.up(interval.steps);
        let octave = self.octave + place.div_euclid(7);
        let natural = Self { name: NoteName { letter, alter: 0 }, octave };
        let alter = self.midi() + interval.semitones - natural.midi();
        Self { name: NoteName { letter, alter: alter as i8 }, octave }
    }

    /// The usual name of a MIDI number where no key tells otherwise: `Bb4`, `F#3`.
    #[must_use]
    pub fn usual(midi: i32) -> Self {
        let name = NoteName::usual(midi);
        Self { name, octave: midi.div_euclid(12) - 1 }
    }

    /// The usual name of a note that was bent to from `origin`: where both have accidentals these are of one kind, so that a whole step is
    /// `F#4` to `G#4` and not `F#4` to `Ab4`.
    #[must_use]
    pub fn usual_from(origin: Self, midi: i32) -> Self {
        let usual = Self::usual(midi);
        if i32::from(origin.name.alter) * i32::from(usual.name.alter) >= 0 {
            return usual;
        }
        let letter = usual.name.letter.up(if origin.name.alter > 0 { -1 } else { 1 });
        let other = NoteName { letter, alter: origin.name.alter.signum() };
        other.at(midi).unwrap_or(usual)
    }
}

impl fmt::Display for Note {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&format!("{}{}", self.name, self.octave))
    }
}

impl FromStr for Note {
    type Err = TheoryError;

    /// Reads `Bb4`; octaves -1 to 9.
    fn from_str(text: &str) -> Result<Self, TheoryError> {
        let (name, octave) = NoteName::read(text.trim()).ok_or_else(|| not_a_note(text))?;
        match octave.parse::<i32>() {
            Ok(octave @ -1..=9) if !text.contains('+') => Ok(Self { name, octave }),
            _ => Err(not_a_note(text)),
        }
    }
}

fn not_a_note(text: &str) -> TheoryError {
    let found = quotable(text);
    let hint = match found.chars().next() {
        Some('H') => "; H is B in English".to_string(),
        Some(c @ 'a'..='g') => format!("; notes take a capital letter: {}{}", c.to_ascii_uppercase(), &found[1..]),
        _ => String::new(),
    };
    TheoryError::Note { found, hint }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn octaves_count_by_the_letter() {
        // Young (JASA 11, 1939): the octave number changes at C, whatever the accidental.
        for (text, midi) in [("C4", 60), ("B3", 59), ("Cb4", 59), ("B#3", 60), ("E#4", 65), ("Fb4", 64), ("Dbb4", 60), ("Fx4", 67)] {
            assert_eq!(text.parse::<Note>().unwrap().midi(), midi, "{text}");
        }
    }

    #[test]
    fn a_bend_between_black_keys_keeps_its_kind_of_accidental() {
        // As a scale spells its neighbouring steps (E major: F# G#; Ab major: Eb F, Ab Bb; common practice).
        for (origin, midi, name) in
            [("F#4", 68, "G#4"), ("C#5", 75, "D#5"), ("Eb4", 66, "Gb4"), ("Bb4", 73, "Db5"), ("F4", 66, "F#4"), ("G4", 70, "Bb4")]
        {
            assert_eq!(Note::usual_from(origin.parse().unwrap(), midi).to_string(), name, "from {origin}");
        }
    }

    #[test]
    fn a_name_finds_its_octave_from_the_pitch() {
        for (name, midi, note) in
            [("Cb", 59, "Cb4"), ("B#", 60, "B#3"), ("Bb", 70, "Bb4"), ("E", 0, ""), ("C", -12, "C-2"), ("Cb", -1, "Cb-1")]
        {
            let found = name.parse::<NoteName>().unwrap().at(midi).map(|n| n.to_string()).unwrap_or_default();
            assert_eq!(found, note);
        }
    }

    #[test]
    fn what_is_no_note_is_named() {
        for text in ["H", "c4", "C#b4", "C", "C+4", "C10", "C###4", "", "4", "♯"] {
            let error = text.parse::<Note>().unwrap_err().to_string();
            assert!(error.contains(&format!("'{text}'")), "{error}");
        }
    }
}
