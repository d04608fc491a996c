//! Keys: a tonic and a seven-note mode.

use super::interval::Interval;
use super::note::NoteName;
use super::scale::{Scale, ScaleKind};
use super::words::{nearest, quotable};
use super::{Chord, TheoryError};
use std::fmt;
use std::str::FromStr;

/// The key of a tune: `D minor`, `E dorian`. Any seven-note scale may be a mode.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Key {
    scale: Scale,
}

impl Key {
    /// The tonic.
    #[must_use]
    pub fn tonic(self) -> NoteName {
        self.scale.tonic
    }

    /// The seven notes.
    #[must_use]
    pub fn scale(self) -> Scale {
        self.scale
    }

    /// The same mode, `interval` higher.
    #[must_use]
    pub fn up(self, interval: Interval) -> Self {
        Self { scale: self.scale.up(interval) }
    }

    /// Whether the mode has a minor third.
    #[must_use]
    pub fn is_minor(self) -> bool {
        self.scale.kind.degrees.contains(&(3, -1))
    }

    /// Whether every tone of the chord is a note of the key, by sound.
    #[must_use]
    pub fn holds(self, chord: &Chord) -> bool {
        chord.tones().iter().all(|tone| self.scale.contains(tone.name.class()))
    }

    /// The major or minor key that holds most of what the chords say, for tunes given without one: a point for each chord tone in
    /// the key (in minor, its leading tone in a dominant counts as well), two more where the first chord is the tonic's, two
    /// where the last one is. The first of equals, from C up, major before minor. `None` without chords.
    #[must_use]
    pub fn guess(chords: &[&Chord]) -> Option<Self> {
        let (first, last) = (chords.first()?, chords.last()?);
        let mut best: Option<(usize, Self)> = None;
        for kind in [ScaleKind::find("major")?, ScaleKind::find("minor")?] {
            for class in 0..12 {
                let tonic = Self::usual_tonic(class, kind.degrees.contains(&(3, -1)));
                let key = Self { scale: Scale::new(tonic, kind) };
                let inside = |chord: &Chord| {
                    let leading = |class: i32| key.is_minor() && chord.is_dominant() && class == (tonic.class() + 11) % 12;
                    chord.tones().iter().filter(|t| key.scale.contains(t.name.class()) || leading(t.name.class())).count()
                };
                let home = |chord: &Chord| chord.root().class() == class && chord.is_minor() == key.is_minor();
                let points =
                    chords.iter().map(|chord| inside(chord)).sum::<usize>() + 2 * usize::from(home(first)) + 2 * usize::from(home(last));
                if best.is_none_or(|(most, _)| points > most) {
                    best = Some((points, key));
                }
            }
        }
        best.map(|(_, key)| key)
    }

    fn usual_tonic(class: i32, minor: bool) -> NoteName {
        let flat_side = if minor { [3, 10].as_slice() } else { &[1, 3, 8, 10] };
        let usual = NoteName::usual(class);
        let above = NoteName::usual(class + 1);
        match (flat_side.contains(&class), usual.alter) {
            (true, 1) => NoteName::new(above.letter, -1),
            (false, -1) => NoteName::new(NoteName::usual(class - 1).letter, 1),
            _ => usual,
        }
    }
}

impl fmt::Display for Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.scale.fmt(f)
    }
}

impl FromStr for Key {
    type Err = TheoryError;

    /// Reads `D minor`, `F# dorian`, `Bb` (major) or `Gm` (minor).
    fn from_str(text: &str) -> Result<Self, TheoryError> {
        let found = quotable(text);
        let wrong = |reason: String, hint: String| TheoryError::Key { found: found.clone(), reason, hint };
        let Some((tonic, rest)) = NoteName::read(&found) else {
            return Err(wrong("it does not begin with a tonic; write for instance D minor or E dorian".to_string(), String::new()));
        };
        let mode = match rest.trim() {
            "" => "major",
            "m" => "minor",
            mode if rest.starts_with(char::is_whitespace) => mode,
            _ => return Err(wrong(format!("'{rest}' cannot follow the tonic; write for instance {tonic} minor"), String::new())),
        };
        let modes = || ScaleKind::all_names().filter(|name| ScaleKind::find(name).is_some_and(|kind| kind.degrees.len() == 7));
        match format!("{tonic} {mode}").parse::<Scale>() {
            Ok(scale) if scale.kind.degrees.len() == 7 => Ok(Self { scale }),
            Ok(_) => Err(wrong(format!("'{mode}' has no seven notes; a key is major, minor or a mode"), String::new())),
            Err(_) => {
                let hint = nearest(mode, modes()).map_or_else(String::new, |word| format!("; did you mean {tonic} {word}?"));
                Err(wrong(format!("there is no mode called '{mode}'"), hint))
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_read_as_players_write_them() {
        for (text, key) in [
            ("D minor", "D minor"),
            ("Gm", "G minor"),
            ("Bb", "Bb major"),
            (" E  Dorian", "E dorian"),
            ("F# harmonic minor", "F# harmonic minor"),
        ] {
            assert_eq!(text.parse::<Key>().unwrap().to_string(), key);
        }
        for (text, says) in
            [("D mynor", "D minor"), ("H major", "tonic"), ("A minor pentatonic", "seven"), ("Dmin", "cannot follow"), ("", "''")]
        {
            let error = text.parse::<Key>().unwrap_err().to_string();
            assert!(error.contains(says), "{text}: {error}");
        }
    }

    #[test]
    fn the_key_of_a_progression_is_guessed_as_a_player_would() {
        for (chords, key) in [
            ("Dm Bbmaj7 Gm7 C7 Fmaj7 Bb A7 Dm", "D minor"),
            ("C Am F G7 C", "C major"),
            ("Am F C G", "A minor"),
            ("Ebm7 Abm7 Bb7 Ebm", "Eb minor"),
            ("Dbmaj7 Gbmaj7 Ab7 Db", "Db major"),
            ("F#m D A E", "F# minor"),
        ] {
            let chords: Vec<Chord> = chords.split(' ').map(|c| c.parse().unwrap()).collect();
            assert_eq!(Key::guess(&chords.iter().collect::<Vec<_>>()).unwrap().to_string(), key);
        }
    }
}
