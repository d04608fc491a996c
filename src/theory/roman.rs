//! Roman numerals and functions.
//!
//! A numeral counts from the major scale of the tonic in every mode, so the sixth degree of D minor is `bVI`. It is small where
//! the chord has a minor third; then `o`, `o7`, `ø7`, `+`, else the chord's own suffix. A function names what a chord leads to:
//! `V/x` (a major triad foreign to the key), `V7/x` (any dominant seventh) and `viio7/x`, where the chord is followed by its
//! target, a major or minor chord that is not the tonic's. Common practice; checked against tables of general-purpose libraries
//! in `tests/theory_tables.rs`.

use super::chord::Chord;
use super::degree::Degree;
use super::key::Key;
use super::note::NoteName;

/// The numeral of a chord over a tonic: `iv7`, `bVImaj7`, `#ivo7`, `V7b9`.
#[must_use]
pub fn numeral(tonic: NoteName, chord: &Chord) -> String {
    let suffix = chord.suffix();
    let ending = match suffix {
        "dim" => "o".to_string(),
        "m7b5" => "ø7".to_string(),
        "aug" => "+".to_string(),
        _ if suffix.starts_with("dimMaj") => format!("omaj{}", &suffix[6..]),
        _ if suffix.starts_with("dim") => format!("o{}", &suffix[3..]),
        _ if suffix.starts_with("mMaj") => format!("maj{}", &suffix[4..]),
        _ if chord.is_minor() => suffix.strip_prefix('m').unwrap_or(suffix).to_string(),
        _ => suffix.to_string(),
    };
    format!("{}{ending}", bare(tonic, chord))
}

/// The numeral without its ending: `iv`, `bVI`.
fn bare(tonic: NoteName, chord: &Chord) -> String {
    let degree = Degree::of(tonic.interval_to(chord.root()));
    let sign = if degree.alter < 0 { "b" } else { "#" };
    let capital = ["I", "II", "III", "IV", "V", "VI", "VII"][usize::from(degree.number - 1)];
    let numeral = if chord.is_minor() { capital.to_lowercase() } else { capital.to_string() };
    format!("{}{numeral}", sign.repeat(usize::from(degree.alter.unsigned_abs())))
}

/// What a chord does where `next` follows it: `V7/ii`, `viio7/V`; `None` for a chord that leads nowhere, or home.
#[must_use]
pub fn function(key: Key, chord: &Chord, next: &Chord) -> Option<String> {
    let up = (next.root().class() - chord.root().class()).rem_euclid(12);
    let at_home = next.root().class() == key.tonic().class();
    let lasting = next.has(Degree::new(3, 0)) || next.is_minor() && !next.has(Degree::new(5, -1));
    if at_home || !lasting {
        return None;
    }
    let kind = match up {
        5 if chord.is_dominant() => "V7",
        5 if chord.has(Degree::new(3, 0)) && chord.tone(7).is_none() && !key.holds(chord) => "V",
        1 if chord.is_diminished_seventh() => "viio7",
        _ => return None,
    };
    Some(format!("{kind}/{}", bare(key.tonic(), next)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numerals_say_third_and_colour() {
        for (tonic, chord, wanted) in [
            ("D", "Bbmaj7", "bVImaj7"),
            ("D", "Em7b5", "iiø7"),
            ("A", "D#dim7", "#ivo7"),
            ("C", "CmMaj7", "imaj7"),
            ("G", "D7sus4", "V7sus4"),
            ("B", "F#dim", "vo"),
            ("C", "Gaug", "V+"),
            ("C", "G/B", "V"),
            ("C", "Gø7", "vø7"),
            ("C", "E-7", "iii7"),
            ("Gb", "Cb7", "IV7"),
            ("F#", "E#m7b5", "viiø7"),
        ] {
            assert_eq!(numeral(tonic.parse().unwrap(), &chord.parse().unwrap()), wanted, "{chord} over {tonic}");
        }
    }

    #[test]
    fn a_dominant_has_a_function_only_where_it_resolves_away_from_home() {
        let key: Key = "D minor".parse().unwrap();
        let of = |chord: &str, next: &str| function(key, &chord.parse().unwrap(), &next.parse().unwrap()).unwrap_or_default();
        assert_eq!(of("D7", "Gm7"), "V7/iv");
        assert_eq!(of("C7", "Fmaj7"), "V7/bIII");
        assert_eq!(of("C", "F"), "", "a triad of the key is no borrowed dominant");
        assert_eq!(of("E", "A7"), "V/V");
        assert_eq!(of("G#dim7", "A7"), "viio7/V");
        assert_eq!(of("A7", "Dm"), "", "home is no secondary target");
        assert_eq!(of("D7", "C"), "");
        assert_eq!(of("B7", "Em7b5"), "", "a diminished chord is no target");
    }
}
